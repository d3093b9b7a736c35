/** The way to the host must be there before the window asks for one. */
import './tab.css';
import './page.ts';

await import('../../renderer/main.tsx');
