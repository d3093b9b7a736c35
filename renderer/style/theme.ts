/** Which theme is on, and its colours for what is drawn on a canvas. */
import { useSettings } from '../settings/settings.ts';
import type { Settings } from '../settings/settings.ts';

export interface ThemeColours {
  readonly line: string;
  readonly quiet: string;
  readonly grid: string;
  readonly band: string;
}

let known: ThemeColours | null = null;
const listeners = new Set<() => void>();

function apply({ theme, gloves }: Pick<Settings, 'theme' | 'gloves'>): void {
  if (gloves) document.documentElement.dataset['gloves'] = '';
  else delete document.documentElement.dataset['gloves'];
  if (theme === 'system') delete document.documentElement.dataset['theme'];
  else document.documentElement.dataset['theme'] = theme;
  known = null;
  for (const listener of listeners) listener();
}

/** Called once, before anything is drawn. */
export function startTheme(): void {
  apply(useSettings.getState());
  useSettings.subscribe(apply);
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => apply(useSettings.getState()));
}

export function onThemeChange(listener: () => void): () => void {
  listeners.add(listener);
  return () => listeners.delete(listener);
}

/** The colours as the style sheet has them now; worked out once per change of theme. */
export function themeColours(): ThemeColours {
  known ??= { line: resolved('--line'), quiet: resolved('--ink-quiet'), grid: resolved('--grid'), band: resolved('--band') };
  return known;
}

/** A token may be a formula: an element is asked what comes of it. */
function resolved(token: string): string {
  const probe = document.createElement('span');
  probe.style.color = `var(${token})`;
  document.body.append(probe);
  const colour = getComputedStyle(probe).color;
  probe.remove();
  return colour;
}
