import { StrictMode } from 'react';
import { createRoot } from 'react-dom/client';
import './style/tokens.css';
import './style/base.css';
import './style/components.css';
import './style/frame.css';
import { Frame } from './frame/frame.tsx';
import { routeOf } from './address/route.ts';
import { startHost } from './host/host.ts';
import { pages } from './pages/index.ts';
import { startTheme } from './style/theme.ts';
import { startTyped } from './typed/typed.ts';

const place = document.getElementById('window');
if (place === null) throw new Error('The page has no place for the window.');
startTheme();
// The page that the address names comes while the host is being looked for. Where it does not come, the frame says so.
void pages.find(({ path }) => path === routeOf(window.location.hash).page)?.load().catch(() => undefined);
startHost();
startTyped(window);
createRoot(place).render(
  <StrictMode>
    <Frame />
  </StrictMode>,
);
