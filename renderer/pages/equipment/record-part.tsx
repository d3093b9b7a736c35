import { cellShown, decimals } from '../../components/decimals.ts';
import { useMemo, useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { grantedSentences } from '../../../app/equipment/standing.ts';
import { Button } from '../../components/button.tsx';
import { ConfirmBar, ConfirmButton } from '../../components/dialog.tsx';
import { dayHint, Field, TextInput } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { saveFile } from '../../components/save-file.ts';
import { shownText } from '../../components/shown-text.ts';
import { Notice } from '../../components/status.tsx';
import { UnitInput } from '../../components/unit-input.tsx';
import { ask, readEquipment } from '../../host/host.ts';
import { settings } from '../../settings/settings.ts';
import { ChangeList } from './change-list.tsx';
import { keepChange, useBegunChange } from './draft.ts';
import { absentText, changesBetween, draftOf, fieldLabel, readText, recordGroups, recordIn, type RecordGroup } from './fields.ts';
import { InstrumentTable } from './instruments.tsx';

interface RecordPartProps {
  readonly equipment: Equipment;
  readonly history: AnswerTo<'equipment.history'>;
  /** Why nothing can be changed now; empty: it can. */
  readonly against: string;
}

/** The record that holds. WIN-40 */
export function RecordPart({ equipment, history, against }: RecordPartProps) {
  const granted = grantedSentences(equipment);
  return (
    <>
      <Section
        title="Instruments and certificates"
        wide
        aside={
          <div className="button-row">
            <Button onPress={() => saveFile(`equipment-${equipment.name.replaceAll(/[^A-Za-z0-9]+/gu, '-')}.json`, [JSON.stringify(equipment, null, 2), '\n'])}>Save as a file</Button>
            <Button kind="primary" against={against} onPress={() => keepChange({ basedOn: history.latest, before: equipment, values: draftOf(equipment), reason: '' })}>
              Change the record
            </Button>
          </div>
        }
      >
        <InstrumentTable equipment={equipment} today={history.today} />
        {granted.length > 0 && (
          <details>
            <summary>Taken for granted, because the record does not state it: {granted.length}</summary>
            <ul className="small">
              {granted.map((sentence) => (
                <li key={sentence}>{shownText(sentence)}</li>
              ))}
            </ul>
          </details>
        )}
      </Section>
      <div className="sections record-groups">
        {recordGroups.map((group) => (
          <ReadGroup key={group.title} group={group} equipment={equipment} />
        ))}
      </div>
    </>
  );
}

function ReadGroup({ group, equipment }: { readonly group: RecordGroup; readonly equipment: Equipment }) {
  return (
    <Section title={group.title}>
      <dl className="record-values">
        {group.fields.map((field) => {
          const text = readText(field, equipment);
          const taken = absentText(field);
          return (
            <div key={field.path}>
              <dt>{field.label}</dt>
              <dd>{field.kind === 'curve' ? <Curve equipment={equipment} /> : text === '' ? <span className="quiet">not stated{taken === undefined ? '' : decimals(`: ${taken}`)}</span> : field.kind === 'number' ? decimals(text) : text}</dd>
            </div>
          );
        })}
      </dl>
    </Section>
  );
}

function Curve({ equipment: { meter } }: { readonly equipment: Equipment }) {
  return (
    <details>
      <summary>{meter.kFactor.length === 1 ? 'one point' : `${meter.kFactor.length} points`}</summary>
      <table className="plain">
        <thead>
          <tr>
            <th className="numeric">Hz</th>
            <th className="numeric">edges/L</th>
            <th className="numeric">own, %</th>
          </tr>
        </thead>
        <tbody>
          {meter.kFactor.map((point) => (
            <tr key={point.hertz}>
              <td className="numeric">{cellShown(point.hertz)}</td>
              <td className="numeric">{cellShown(point.edgesPerLitre)}</td>
              <td className="numeric">{cellShown(point.ownUncertaintyPercent ?? '–')}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </details>
  );
}

/** A change of the record, or the first record of a bench. WIN-42 */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function ChangeForm({ history, against, onSaved }: { readonly history: AnswerTo<'equipment.history'>; readonly against: string; readonly onSaved: (text: string) => void }) {
  const { change } = useBegunChange();
  const [asking, setAsking] = useState(false);
  const [busy, setBusy] = useState(false);
  const [refused, setRefused] = useState('');
  const read = useMemo(() => recordIn(change?.values ?? {}, change?.before ?? {}), [change]);
  const changes = useMemo(() => changesBetween(change?.before, read.document ?? change?.before), [change, read]);
  if (change === null) return null;
  const { basedOn, values, reason } = change;
  const overtaken = basedOn !== history.latest;
  const wrong = read.problems.size;
  const missing =
    against !== '' ? against
    : overtaken ? 'Another version was saved meanwhile.'
    : wrong > 0 ? `${wrong === 1 ? 'One field needs' : `${wrong} fields need`} to be put right.`
    : changes.length === 0 ? 'Nothing was changed yet.'
    : reason.trim() === '' ? 'Say why it is changed.'
    : '';
  const set = (path: string, text: string): void => {
    setAsking(false);
    keepChange({ ...change, values: { ...values, [path]: text } });
  };
  const save = async (): Promise<void> => {
    if (read.document === null) return;
    setAsking(false);
    setBusy(true);
    const reply = await ask('equipment.save', { document: read.document, by: settings().operator, reason: reason.trim(), basedOn });
    setBusy(false);
    if (!reply.ok) setRefused(reply.failure.text);
    else if (reply.value.problems.length > 0) setRefused(reply.value.problems.map(({ path, text }) => `${path}: ${text}`).join(' '));
    else {
      keepChange(null);
      await readEquipment();
      onSaved(`Version ${basedOn + 1} was saved. It holds for runs that are opened from now on; a run that was opened before keeps the record that it was opened with.`);
    }
  };
  return (
    <>
      <div className="record-save" role="region" aria-label="The change that is not saved yet">
        <div className="field-row">
          <TextInput label="Why it is changed" hint="Stands in the history with your name." value={reason} onChange={(text) => keepChange({ ...change, reason: text })} />
          <div className="button-row record-save-buttons">
            <Button kind="primary" against={missing} busy={busy} onPress={() => setAsking(true)}>
              {busy ? 'Being saved …' : changes.length === 0 ? 'Save …' : `Save ${changes.length === 1 ? 'one change' : `${changes.length} changes`} …`}
            </Button>
            {changes.length === 0 && wrong === 0 ? (
              <Button onPress={() => keepChange(null)}>Drop the change</Button>
            ) : (
              <ConfirmButton question="What was changed here and is not saved is gone then." confirm="Drop it" onConfirm={() => keepChange(null)}>
                Drop the change
              </ConfirmButton>
            )}
          </div>
        </div>
        {asking && missing === '' && (
          <ConfirmBar
            question={`Version ${basedOn + 1} takes the place of ${basedOn === 0 ? 'the sample record' : `version ${basedOn}`} for runs that are opened from now on. Earlier runs keep theirs, and nothing that was saved is lost.`}
            confirm="Save it"
            onConfirm={() => void save()}
            onLeave={() => setAsking(false)}
          />
        )}
        {overtaken && <Notice tone="note">Version {history.latest} was saved while this change was being made on version {basedOn}. Drop the change, look at the new version, and make it there.</Notice>}
        {refused !== '' && <Notice tone="bad">{refused}</Notice>}
        {wrong > 0 && (
          <p className="small" role="status">
            To be put right: {[...read.problems.keys()].map((path) => fieldLabel(path) ?? read.problems.get(path)).join('; ')}.
          </p>
        )}
        {changes.length > 0 && <ChangeList changes={changes} />}
      </div>
      <div className="sections record-groups">
        {recordGroups.map(({ title, fields }) => (
          <Section key={title} title={title}>
            {fields.map((field) => {
              const { path, label, unit, difference, kind, hint } = field;
              const taken = absentText(field);
              const shown = taken === undefined ? hint : [hint ?? '', `Empty: ${decimals(taken)}.`].filter((part) => part !== '').join(' ');
              const problem = read.problems.get(path);
              return kind === 'curve' ? (
                <Field key={path} label={`${label}: Hz, edges/L, own uncertainty in %`} hint={shown} problem={shownText(problem ?? '')}>
                  <textarea className="field-frame" rows={8} value={values[path] ?? ''} spellCheck={false} aria-invalid={problem !== undefined} onChange={(event) => set(path, event.target.value)} />
                </Field>
              ) : (
                <UnitInput key={path} label={label} unit={unit} difference={difference} hint={kind === 'day' ? dayHint : shown} problem={problem ?? ''} value={values[path] ?? ''} onChange={(text) => set(path, text)} />
              );
            })}
          </Section>
        ))}
      </div>
    </>
  );
}
