import { useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { parseLayout } from '../../../app/handover/layout.ts';
import type { ControllerLayout, LayoutDocument } from '../../../app/handover/layout.ts';
import { Button } from '../../components/button.tsx';
import { ConfirmButton } from '../../components/dialog.tsx';
import { Choice } from '../../components/field.tsx';
import { FileButton } from '../../components/file-button.tsx';
import { Section } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { withoutLayout } from './controller-view.ts';
import { LayoutEditor } from './layout-editor.tsx';

const largestLayout = 2 ** 20;

/** Which layout holds, and where another is opened. */
// eslint-disable-next-line max-lines-per-function -- half of it is markup, in the order in which the page shows it
export function LayoutPart({ layout, onLayout }: { readonly layout: ControllerLayout; readonly onLayout: (layout: ControllerLayout) => void }) {
  const [problem, setProblem] = useState('');
  const [editing, setEditing] = useState(false);
  const [kept, setKept] = useState<AnswerTo<'layouts.list'> | null>(null);
  const { line, control } = useHost();
  const read = async (): Promise<void> => {
    const reply = await ask('layouts.list', {});
    if (reply.ok) setKept(reply.value);
  };
  useWhenUp(() => void read());
  const against = line.state !== 'up' ? 'The host cannot be reached.' : control.mine ? '' : 'This window only watches. Take control first; the button stands at the top.';
  const keep = async (document: LayoutDocument): Promise<string> => {
    const reply = await ask('layouts.save', { document });
    if (!reply.ok) return reply.failure.text;
    await read();
    return reply.value.problems.map((p) => p.text).join(' ');
  };
  const remove = async (name: string): Promise<void> => {
    const reply = await ask('layouts.remove', { name });
    setProblem(reply.ok ? '' : reply.failure.text);
    if (reply.ok) await read();
  };
  const isKept = kept?.layouts.some((one) => one.name === layout.name) === true;
  const choose = (name: string): void => {
    const parsed = parseLayout(kept?.layouts.find((one) => one.name === name)?.document);
    if (parsed.ok) onLayout(parsed.layout);
  };
  const load = async (chosen: File): Promise<void> => {
    const failed = (text: string): void => setProblem(`${chosen.name} was not taken. ${text} The tables are as they were.`);
    if (chosen.size > largestLayout) {
      failed('It is larger than any layout.');
      return;
    }
    let document: unknown;
    try {
      document = JSON.parse((await chosen.text()).replace(/^\uFEFF/u, ''));
    } catch {
      failed('It is not a JSON file.');
      return;
    }
    const parsed = parseLayout(document);
    if (!parsed.ok) {
      failed(parsed.problems.map(({ path, text }) => `${path}: ${text}`).join(' '));
      return;
    }
    setProblem('');
    onLayout(parsed.layout);
  };
  return (
    <Section title="Layout" wide>
      {layout === withoutLayout ? (
        <p>Breakpoints are the places that were measured. A layout says which breakpoints, units and steps a controller takes, and how its harness and fuel differ.</p>
      ) : (
        <p>
          <strong>{layout.name}</strong> says breakpoints, units and steps.
        </p>
      )}
      {kept !== null && kept.layouts.length > 0 && (
        <Choice
          label="A layout that is kept"
          hint={kept.folder}
          value={isKept ? layout.name : ''}
          options={[{ value: '', text: 'choose …' }, ...kept.layouts.map((one) => ({ value: one.name, text: one.name }))]}
          onChange={choose}
        />
      )}
      {kept !== null && kept.problem !== '' && <Notice tone="note">{kept.problem}</Notice>}
      <div className="button-row">
        <FileButton fileLabel="Layout file" onFile={(chosen) => void load(chosen)}>
          Open a layout
        </FileButton>
        {layout !== withoutLayout && <Button onPress={() => onLayout(withoutLayout)}>As measured</Button>}
        {isKept && (
          <ConfirmButton against={against} question={`Remove the layout "${layout.name}" from ${kept.folder}? Its file is deleted. The tables here stay as they are.`} confirm="Remove it" onConfirm={() => void remove(layout.name)}>
            Remove this layout
          </ConfirmButton>
        )}
        <Button onPress={() => setEditing(!editing)}>{editing ? 'Close the layout' : layout === withoutLayout ? 'Make a layout' : 'Change this layout'}</Button>
      </div>
      {editing && <LayoutEditor key={layout.name} layout={layout === withoutLayout ? { ...withoutLayout, name: '' } : layout} against={against} onUse={onLayout} onKeep={keep} />}
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
    </Section>
  );
}
