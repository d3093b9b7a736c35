import { useState } from 'react';
import { controllerFlowUnits, type ControllerFlowUnit } from '../../../app/handover/units.ts';
import type { ControllerLayout, LayoutDocument } from '../../../app/handover/layout.ts';
import { Button } from '../../components/button.tsx';
import { Choice, NumberInput, TextInput } from '../../components/field.tsx';
import { unitShown } from '../../settings/quantities.ts';
import { saveFile } from '../../components/save-file.ts';
import { problemShown } from '../../components/problem-shown.ts';
import { Notice } from '../../components/status.tsx';
import { layoutFormOf, layoutAxes, layoutOf, problemOf, type LayoutForm } from './layout-form.ts';

const texts = <T extends string>(words: Readonly<Record<T, string>>): readonly { readonly value: T; readonly text: string }[] => (Object.keys(words) as T[]).map((value) => ({ value, text: words[value] }));
const separatorChoices = texts({ comma: 'Comma', semicolon: 'Semicolon', tab: 'Tab' });
const decimalChoices = texts({ point: 'Point', comma: 'Comma' });
const downChoices = texts({ first: 'First axis down, second across', second: 'Second axis down, first across' });
const headingChoices = texts({ yes: 'With headings', no: 'Numbers alone' });
const flowChoices = controllerFlowUnits.map((value: ControllerFlowUnit) => ({ value, text: value }));

interface LayoutEditorProps {
  readonly layout: ControllerLayout;
  /** Why it cannot be kept now; empty: it can. */
  readonly against: string;
  readonly onUse: (layout: ControllerLayout) => void;
  /** Keeps it; a text comes back: why not. */
  readonly onKeep: (document: LayoutDocument) => Promise<string>;
}

/** Fills a layout in: breakpoints, units, steps, and how its grids are written. */
export function LayoutEditor({ layout, against, onUse, onKeep }: LayoutEditorProps) {
  const [form, setForm] = useState<LayoutForm>(() => layoutFormOf(layout));
  const [said, setSaid] = useState<{ readonly tone: 'good' | 'bad'; readonly text: string } | null>(null);
  const made = layoutOf(form);
  const problems = made.ok ? [] : made.problems;
  const change = (part: Partial<ControllerLayout>): void => {
    setSaid(null);
    setForm((before) => ({ ...before, layout: { ...before.layout, ...part } }));
  };
  const { csv, deadTime, flow, shortPulse, name } = form.layout;
  const step = (value: number): { readonly resolution: number | undefined } => ({ resolution: Number.isFinite(value) ? value : undefined });
  const wrong = problems.length === 0 ? '' : name === '' ? 'Give the layout a name first.' : 'Correct what stands beside the fields first.';
  const keep = async (document: LayoutDocument): Promise<void> => {
    const problem = await onKeep(document);
    setSaid(problem === '' ? { tone: 'good', text: `${name} is kept beside the archive.` } : { tone: 'bad', text: problem });
  };
  return (
    <div className="layout-editor">
      <TextInput label="Name of the layout" problem={name === '' ? '' : problemOf(problems, 'name')} hint={name === '' ? 'Needed: it is kept and chosen under it.' : undefined} value={name} onChange={(text) => change({ name: text })} />
      <div className="field-row">
        {layoutAxes.map(({ key, label, unit }) => (
          <TextInput key={key} label={`${label} in ${unitShown(unit)}`} hint="Empty: as measured." problem={problemShown(problemOf(problems, `axes.${key}`), unit)} value={form.axes[key]} onChange={(text) => setForm((before) => ({ ...before, axes: { ...before.axes, [key]: text } }))} />
        ))}
      </div>
      <div className="field-row">
        <Choice label="Dead time in" value={deadTime.unit} options={texts({ us: 'µs', ms: 'ms' })} onChange={(unit) => change({ deadTime: { ...deadTime, unit } })} />
        <NumberInput label="Step of the dead time" unit={deadTime.unit === 'us' ? 'µs' : 'ms'} hint="Empty: none." problem={problemOf(problems, 'deadTime')} value={deadTime.resolution ?? Number.NaN} decimals={6} onChange={(value) => change({ deadTime: { ...deadTime, ...step(value) } })} />
        <Choice label="Flow in" value={flow.unit} options={flowChoices} onChange={(unit) => change({ flow: { ...flow, unit } })} />
        <NumberInput label="Step of the flow" unit={flow.unit} hint="Empty: none." problem={problemOf(problems, 'flow')} value={flow.resolution ?? Number.NaN} decimals={6} onChange={(value) => change({ flow: { ...flow, ...step(value) } })} />
      </div>
      <div className="field-row">
        <Choice label="Short-pulse correction as" value={shortPulse.as} options={texts({ us: 'Time, µs', mg: 'Mass, mg' })} onChange={(as) => change({ shortPulse: { ...shortPulse, as } })} />
        <Choice label="Looked up by" value={shortPulse.over} options={texts({ width: 'Pulse width', mass: 'Mass' })} onChange={(over) => change({ shortPulse: { ...shortPulse, over } })} />
        <NumberInput label="Step of the correction" unit={shortPulse.as === 'us' ? 'µs' : 'mg'} hint="Empty: none." problem={problemOf(problems, 'shortPulse')} value={shortPulse.resolution ?? Number.NaN} decimals={6} onChange={(value) => change({ shortPulse: { ...shortPulse, ...step(value) } })} />
      </div>
      <div className="field-row">
        <Choice label="Order of the axes" value={csv.down} options={downChoices} onChange={(down) => change({ csv: { ...csv, down } })} />
        <Choice label="Headings" value={csv.headings ? 'yes' : 'no'} options={headingChoices} onChange={(value) => change({ csv: { ...csv, headings: value === 'yes' } })} />
        <Choice label="Columns separated by" problem={problemOf(problems, 'csv')} value={csv.separator} options={separatorChoices} onChange={(separator) => change({ csv: { ...csv, separator } })} />
        <Choice label="Decimal sign" value={csv.decimal} options={decimalChoices} onChange={(decimal) => change({ csv: { ...csv, decimal } })} />
      </div>
      {problemOf(problems, 'wiringDrop') !== '' && <Notice tone="bad">{problemOf(problems, 'wiringDrop')}</Notice>}
      <div className="button-row">
        <Button against={wrong} onPress={() => made.ok && onUse(made.layout)}>
          Use this layout
        </Button>
        <Button against={wrong !== '' ? wrong : against} onPress={() => made.ok && void keep(made.document)}>
          Keep it
        </Button>
        <Button against={wrong} onPress={() => made.ok && saveFile('layout.json', [`${JSON.stringify(made.document, null, 2)}\n`])}>
          Save it as a file
        </Button>
      </div>
      {said !== null && <Notice tone={said.tone}>{said.text}</Notice>}
    </div>
  );
}
