/** The pages in their order. To add one: a folder with page.tsx that exports its component as default, and a line here. */
import type { ComponentType } from 'react';

export interface PageEntry {
  /** First part of the address behind `#/`. */
  readonly path: string;
  readonly title: string;
  /** With Alt, by its place on the keyboard (KeyboardEvent.code). */
  readonly key: string;
  readonly load: () => Promise<{ default: ComponentType }>;
}

export interface PageGroup {
  /** For readers of the screen; on the screen a line stands between groups. */
  readonly title: string;
  readonly pages: readonly PageEntry[];
}

/** As a day goes: measuring, what came of it, what is kept of it, and what it rests on. */
export const pageGroups: readonly PageGroup[] = [
  {
    title: 'Measuring',
    pages: [
      { path: 'bench', title: 'Bench', key: 'KeyB', load: () => import('./bench/page.tsx') },
      { path: 'injectors', title: 'Injectors', key: 'KeyI', load: () => import('./injectors/page.tsx') },
      { path: 'plans', title: 'Plans', key: 'KeyP', load: () => import('./plans/page.tsx') },
      { path: 'run', title: 'Run', key: 'KeyR', load: () => import('./run/page.tsx') },
    ],
  },
  {
    title: 'What came of it',
    pages: [
      { path: 'results', title: 'Results', key: 'KeyU', load: () => import('./results/page.tsx') },
      { path: 'sets', title: 'Sets', key: 'KeyO', load: () => import('./sets/page.tsx') },
      { path: 'reports', title: 'Reports', key: 'KeyT', load: () => import('./reports/page.tsx') },
    ],
  },
  {
    title: 'What is kept',
    pages: [
      { path: 'journal', title: 'Journal', key: 'KeyJ', load: () => import('./journal/page.tsx') },
      { path: 'archive', title: 'Archive', key: 'KeyA', load: () => import('./archive/page.tsx') },
    ],
  },
  {
    title: 'What it rests on',
    pages: [
      { path: 'equipment', title: 'Equipment', key: 'KeyE', load: () => import('./equipment/page.tsx') },
      { path: 'quality', title: 'Quality', key: 'KeyQ', load: () => import('./quality/page.tsx') },
    ],
  },
];

export const pages: readonly PageEntry[] = pageGroups.flatMap((group) => group.pages);
