/** A layout as a person fills it in, and the document that it comes to. TAB-51 */
import type { Problem } from '../../../app/boundary/problems.ts';
import { parseLayout, type ControllerLayout, type LayoutDocument } from '../../../app/handover/layout.ts';
import { readValues } from '../../components/value-list.ts';

export const layoutAxes = [
  { key: 'voltagesV', label: 'Voltages in V' },
  { key: 'pressuresKpa', label: 'Differential pressures in kPa' },
  { key: 'widthsMs', label: 'Pulse widths in ms' },
  { key: 'massesMg', label: 'Masses in mg' },
] as const;
type LayoutAxis = (typeof layoutAxes)[number]['key'];

export interface LayoutForm {
  /** What it does not show is kept as it is: wiring drop, other fluids, density. */
  readonly layout: ControllerLayout;
  /** As they are typed. */
  readonly axes: Readonly<Record<LayoutAxis, string>>;
}

export const layoutFormOf = (layout: ControllerLayout): LayoutForm => ({
  layout,
  axes: { voltagesV: layout.axes.voltagesV.join('; '), pressuresKpa: layout.axes.pressuresKpa.join('; '), widthsMs: layout.axes.widthsMs.join('; '), massesMg: layout.axes.massesMg.join('; ') },
});

type LayoutMade = { readonly ok: true; readonly layout: ControllerLayout; readonly document: LayoutDocument } | { readonly ok: false; readonly problems: readonly Problem[] };

/** The document, or what is wrong with each field. */
export function layoutOf({ layout, axes }: LayoutForm): LayoutMade {
  const read = layoutAxes.map(({ key }) => ({ key, values: readValues(axes[key]) }));
  const unread = read.flatMap(({ key, values }) => (values.ok ? [] : [{ path: `axes.${key}`, text: values.text }]));
  if (unread.length > 0) return { ok: false, problems: unread };
  const numbers = Object.fromEntries(read.map(({ key, values }) => [key, values.ok ? values.values.map(Number) : []]));
  const document: LayoutDocument = { ...layout, axes: numbers };
  const parsed = parseLayout(document);
  return parsed.ok ? { ok: true, layout: parsed.layout, document } : parsed;
}

/** What is wrong with a field, or with something below it. */
export const problemOf = (problems: readonly Problem[], path: string): string => problems.filter((p) => p.path === path || p.path.startsWith(`${path}[`) || p.path.startsWith(`${path}.`)).map((p) => p.text).join(' ');
