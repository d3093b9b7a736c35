/** A layout as a person fills it in, and the document that it comes to. TAB-51 */
import type { Problem } from '../../../app/boundary/problems.ts';
import { parseLayout, type ControllerLayout, type LayoutDocument } from '../../../app/handover/layout.ts';
import { storedFromTyped, typedFromStored } from '../../settings/quantities.ts';
import { readValues } from '../../components/value-list.ts';

/** `unit`: of the document; it is shown and typed in the chosen one (WIN-130). */
export const layoutAxes = [
  { key: 'voltagesV', label: 'Voltages', unit: 'V' },
  { key: 'pressuresKpa', label: 'Differential pressures', unit: 'kPa' },
  { key: 'widthsMs', label: 'Pulse widths', unit: 'ms' },
  { key: 'massesMg', label: 'Masses', unit: 'mg' },
] as const;
type LayoutAxis = (typeof layoutAxes)[number]['key'];

export interface LayoutForm {
  /** What it does not show is kept as it is: wiring drop, other fluids, density. */
  readonly layout: ControllerLayout;
  /** As they are typed, in the unit that was chosen when they were last typed or shown. */
  readonly axes: Readonly<Record<LayoutAxis, string>>;
}

const axisText = (unit: string, values: readonly number[]): string => values.map((value) => typedFromStored(unit, String(value))).join('; ');

export const layoutFormOf = (layout: ControllerLayout): LayoutForm => ({
  layout,
  axes: Object.fromEntries(layoutAxes.map(({ key, unit }) => [key, axisText(unit, layout.axes[key])])) as Record<LayoutAxis, string>,
});

/** What was typed in the unit of the document; a place that the layout has already stays to the last bit. */
function placesIn(unit: string, typed: readonly string[], before: readonly number[]): readonly number[] {
  const known = new Map(before.map((value) => [typedFromStored(unit, String(value)), value]));
  return typed.map((text) => known.get(text) ?? Number(storedFromTyped(unit, text)));
}

type LayoutMade = { readonly ok: true; readonly layout: ControllerLayout; readonly document: LayoutDocument } | { readonly ok: false; readonly problems: readonly Problem[] };

/** The document, or what is wrong with each field. */
export function layoutOf({ layout, axes }: LayoutForm): LayoutMade {
  const read = layoutAxes.map(({ key, unit }) => ({ key, unit, values: readValues(axes[key]) }));
  const unread = read.flatMap(({ key, values }) => (values.ok ? [] : [{ path: `axes.${key}`, text: values.text }]));
  if (unread.length > 0) return { ok: false, problems: unread };
  const numbers = Object.fromEntries(read.map(({ key, unit, values }) => [key, values.ok ? placesIn(unit, values.values, layout.axes[key]) : []]));
  const document: LayoutDocument = { ...layout, axes: numbers };
  const parsed = parseLayout(document);
  return parsed.ok ? { ok: true, layout: parsed.layout, document } : parsed;
}

/** What is wrong with a field, or with something below it. */
export const problemOf = (problems: readonly Problem[], path: string): string => problems.filter((p) => p.path === path || p.path.startsWith(`${path}[`) || p.path.startsWith(`${path}.`)).map((p) => p.text).join(' ');
