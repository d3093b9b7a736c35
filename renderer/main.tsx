import { StrictMode } from 'react';
import { createRoot } from 'react-dom/client';
import './style/tokens.css';
import './style/base.css';
import './style/components.css';
import './style/frame.css';
import { Frame } from './frame/frame.tsx';
import { startHost } from './host/host.ts';
import { startTheme } from './style/theme.ts';
import { startTyped } from './typed/typed.ts';

const place = document.getElementById('window');
if (place === null) throw new Error('The page has no place for the window.');
startTheme();
startHost();
startTyped(window);
createRoot(place).render(
  <StrictMode>
    <Frame />
  </StrictMode>,
);
