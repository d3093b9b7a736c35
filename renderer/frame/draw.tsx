/** The window as it is drawn. Loaded by main.tsx, beside the line to the host. */
import { StrictMode } from 'react';
import { createRoot } from 'react-dom/client';
import { Frame } from './frame.tsx';

export function drawWindow(place: HTMLElement): void {
  createRoot(place).render(
    <StrictMode>
      <Frame />
    </StrictMode>,
  );
}
