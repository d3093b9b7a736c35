import { describe, expect, it } from 'vitest';
import { parseLayout } from '../../../app/handover/layout.ts';
import { layoutFormOf, layoutOf, problemOf, type LayoutForm } from './layout-form.ts';
import { useSettings } from '../../settings/settings.ts';
import { withoutLayout } from './controller-view.ts';

const form = (change: Partial<LayoutForm['axes']> = {}, layout: Partial<LayoutForm['layout']> = {}): LayoutForm => {
  const begun = layoutFormOf({ ...withoutLayout, name: 'Mine', ...layout });
  return { layout: begun.layout, axes: { ...begun.axes, ...change } };
};

describe('TAB-51 a layout that is filled in', () => {
  it('comes to the document that parses to the same', () => {
    const made = layoutOf(form({ voltagesV: '9; 10,5; 12-16 by 1', widthsMs: '2 3' }));
    if (!made.ok) throw new Error(made.problems.map((p) => p.text).join(' '));
    expect(made.layout.axes).toEqual({ voltagesV: [9, 10.5, 12, 13, 14, 15, 16], pressuresKpa: [], widthsMs: [2, 3], massesMg: [] });
    expect(parseLayout(JSON.parse(JSON.stringify(made.document)))).toEqual({ ok: true, layout: made.layout });
    expect(layoutOf(layoutFormOf(made.layout))).toEqual(made);
  });

  it('WIN-131 in another unit keeps every place that was there to the last bit, and takes what is typed in that unit', () => {
    const before = useSettings.getState();
    const layout = { ...withoutLayout, name: 'Mine', axes: { ...withoutLayout.axes, pressuresKpa: [103.42135939752, 250.123456789, 300, 400] } };
    useSettings.setState({ ...before, pressureUnit: 'psi' });
    const begun = layoutFormOf(layout);
    expect(begun.axes.pressuresKpa).toBe('15; 36.2773; 43.5113; 58.0151');
    expect(layoutOf(begun)).toMatchObject({ ok: true, layout });
    expect(layoutOf({ ...begun, axes: { ...begun.axes, pressuresKpa: `${begun.axes.pressuresKpa}; 60` } })).toMatchObject({ ok: true, layout: { axes: { pressuresKpa: [...layout.axes.pressuresKpa, 413.685437590] } } });
    useSettings.setState(before);
  });

  it('keeps what the page does not show', () => {
    const opened = parseLayout({ layoutVersion: 1, name: 'Opened', wiringDrop: { volts: 0.4 }, flow: { unit: 'cc/min', densityKgPerM3: 700 }, otherFluids: [{ name: 'Fuel', densityKgPerM3: 745, expandedKgPerM3: 2, atC: 15 }] });
    if (!opened.ok) throw new Error('does not parse');
    expect(layoutOf(layoutFormOf(opened.layout))).toMatchObject({ ok: true, layout: opened.layout });
  });

  it('says at its field what is wrong, and makes nothing', () => {
    const wrong = (of: LayoutForm, path: string): string => {
      const made = layoutOf(of);
      return made.ok ? '' : problemOf(made.problems, path);
    };
    expect(wrong(form({ voltagesV: '12; 9' }), 'axes.voltagesV')).toContain('must rise');
    expect(wrong(form({ voltagesV: '12; nine' }), 'axes.voltagesV')).not.toBe('');
    expect(wrong(form({ voltagesV: '1,8' }), 'axes.voltagesV')).not.toBe('');
    expect(wrong(form({}, { name: '' }), 'name')).not.toBe('');
    expect(wrong(form({}, { csv: { ...withoutLayout.csv, decimal: 'comma' } }), 'csv')).toContain('cannot be separated by commas');
    expect(wrong(form({}, { shortPulse: { as: 'mg', over: 'mass' } }), 'axes.massesMg')).toContain('needs the masses');
    expect(wrong(form({ voltagesV: '12; 9' }), 'name')).toBe('');
  });
});
