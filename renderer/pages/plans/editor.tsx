import { useMemo } from 'react';
import type { ReactNode } from 'react';
import type { Problem } from '../../../app/boundary/problems.ts';
import type { Part } from '../../../app/contract/library-requests.ts';
import { Button } from '../../components/button.tsx';
import { Section } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import type { TypeRecord } from '../../../app/type-record/type-record.ts';
import { useHost } from '../../host/host.ts';
import { AxisField } from './axis-field.tsx';
import { axisNames, fieldAt, foldedPaths, labelAt, listNames, listPaths, mapLists, openPaths, wordsAt } from './fields.ts';
import type { FieldPath } from './fields.ts';
import { ForecastPart } from './forecast-part.tsx';
import { GuardsPart } from './guards-part.tsx';
import { InjectorsPart } from './injectors-part.tsx';
import { KnownTypesPart } from './known-part.tsx';
import { changeForm } from './plan-draft.ts';
import { FieldControl, FieldProblems, idOf, LabelledField, planProblemShown, PlanField, unitOfGuard } from './plan-field.tsx';
import { placesOf, problemsAt } from './plan-form.ts';
import type { PlanForm } from './plan-form.ts';
import { PointsChart } from './points-chart.tsx';
import { plural } from '../../components/plural.ts';
import { SheetPart } from './sheet-part.tsx';
import { withReference } from './starting-plan.ts';
import { TypesPart } from './types-part.tsx';
import type { Checked, Expanded } from './use-check.ts';
import { typedFromStored, unitShown } from '../../settings/quantities.ts';
import { decimals } from '../../components/decimals.ts';

interface EditorProps {
  readonly form: PlanForm;
  readonly problems: readonly Problem[];
  readonly parts: readonly Part[] | null;
  readonly records: readonly TypeRecord[] | null;
  /** Points and totals of the plan once it stood still; null while it is not right. */
  readonly expansion: Expanded | null;
  readonly checked: Checked;
}

/** The plan in the order in which one thinks of it; what is rarely changed is folded away with its values in one line. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function Editor({ form, problems, parts, records, expansion, checked }: EditorProps) {
  const { equipment } = useHost();
  const fields = (paths: readonly FieldPath[]) => (
    <div className="field-row">
      {paths.map((path) =>
        path === 'reference.injector' ? (
          <ReferenceInjector key={path} form={form} problems={problems} />
        ) : (
          <PlanField key={path} path={path} form={form} problems={problems} />
        ),
      )}
    </div>
  );
  const value = (path: FieldPath): string => {
    const typed = form.texts[path] ?? '';
    const { otherwise, unit } = fieldAt(path);
    return decimals(typedFromStored(unit, typed.trim() === '' ? (otherwise ?? '–') : typed));
  };
  return (
    <div className="sections plan-editor">
      <Section title="Name" wide>
        {fields(openPaths.name)}
      </Section>

      <Section title="Injectors" wide aside={<span className="quiet small">{plural(form.injectors.length, 'injector')}. Up and Down: another row.</span>}>
        <InjectorsPart form={form} problems={problems} parts={parts} />
      </Section>

      <Section title="Axes" wide aside={<span className="quiet small">Every combination is one point</span>}>
        <div className="plan-axes" id={idOf('axes')} tabIndex={-1}>
          {axisNames.map((axis) => (
            <AxisField key={axis} axis={axis} values={form.axes[axis]} problems={problems} />
          ))}
        </div>
        {fields(openPaths.replicates)}
        {wantsMap(form) && (
          <div className="plan-axes" id={idOf('targets.map')} tabIndex={-1}>
            {mapLists.map((list) => (
              <AxisField key={list} axis={list} values={form.axes[list] ?? []} problems={problems} />
            ))}
          </div>
        )}
        {wantsTargets(form) && <KnownTypesPart form={form} problems={problems} />}
        <FieldProblems id={idOf('axes:wrong')} texts={problemsAt(problems, 'axes')} />
      </Section>

      <Section title="Sequence, reference point, static flow, leak and self-checks" wide>
        {fields(openPaths.sequence)}
        <label className="plan-tick">
          <input
            type="checkbox"
            checked={form.hasReference}
            onChange={(event) => {
              const { checked: on } = event.target;
              changeForm((now) => (on ? withReference(now) : { ...now, hasReference: false }));
            }}
          />
          Measure one point again and again, to show drift
        </label>
        {form.hasReference && fields(openPaths.reference)}
        {fields(openPaths.static)}
        {fields(openPaths.leak)}
        {fields(openPaths.selfChecks)}
      </Section>

      <Section title="Points in their order" wide>
        {expansion === null ? (
          <p className="quiet">The points are shown here as soon as the plan has no problems.</p>
        ) : (
          <PointsChart plan={expansion.plan} points={expansion.points} />
        )}
      </Section>

      <ForecastPart plan={expansion?.plan ?? null} equipment={equipment} />

      <Fold title="Before a point" problems={problems} paths={foldedPaths.conditions} summary={`supply ± ${value('supply.toleranceV')} V for ${value('supply.steadyS')} s; pressure ± ${value('condition.pressureToleranceKpa')} ${unitShown('kPa')}, ${value('condition.temperatureMinC')} to ${value('condition.temperatureMaxC')} ${unitShown('°C')} for ${value('condition.steadyS')} s`}>
        {fields(foldedPaths.conditions)}
      </Fold>
      <Fold title="Purge, settle and window" problems={problems} paths={foldedPaths.window} summary={`${value('purge.pulses')} purge pulses; settle ${value('settleS')} s; window of ${value('window.minEdges')} edges or more, ${value('window.minS')} to ${value('window.maxS')} s`}>
        {fields(foldedPaths.window)}
      </Fold>
      <Fold title="First look at each injector" problems={problems} paths={foldedPaths.look} summary={value('look.windowS') === '0' ? 'none' : `three windows of ${value('look.windowS')} s; coil within ${value('look.resistancePercent')} %, flow within ${value('look.flowPercent')} %`}>
        {fields(foldedPaths.look)}
      </Fold>
      <Fold title="Acceptance and repeats" problems={problems} paths={foldedPaths.acceptance} summary={`pressure ± ${value('accept.pressureKpa')} ${unitShown('kPa')}, supply ± ${value('accept.supplyV')} V, halves within ${value('accept.halvesPercent')} %; ${value('repeats.attemptsAtOnce')} immediate tries, ${value('repeats.attemptsSecondPass')} in a second pass`}>
        {fields(foldedPaths.acceptance)}
      </Fold>
      <Fold title="Guards" problems={problems} paths={['guards']} summary={form.guards.length === 0 ? 'none: nothing stops the run by itself' : form.guards.map((guard) => guard.id || 'without a name').join(', ')}>
        <GuardsPart form={form} problems={problems} />
      </Fold>
      <Fold title="Types: flow, limits, coils" problems={problems} paths={['types']} summary={form.types.length === 0 ? 'nothing stated: 240 g/min is assumed, coils are taken for usual' : form.types.map((one) => `${one.type || 'without a name'}${one.staticFlowGPerMin.trim() === '' ? '' : `, ${one.staticFlowGPerMin} g/min`}`).join('; ')}>
        <TypesPart form={form} problems={problems} records={records} />
      </Fold>
      <Fold title="Reduction" problems={problems} paths={foldedPaths.reduction} summary={`mass at ${value('reduction.referenceC')} ${unitShown('°C')}; line within ${value('reduction.linearityPercent')} %`}>
        {fields(foldedPaths.reduction)}
      </Fold>
      <Fold title="Link and limits" problems={problems} paths={foldedPaths.link} summary={`${value('link.telemetryHz')} Hz, watchdog ${value('link.deadManMs')} ms; duty up to ${value('limits.dutyPercent')} %`}>
        {fields(foldedPaths.link)}
      </Fold>

      <div className="section-wide" id="plan:sheet" tabIndex={-1}>
        <Section title="Pre-flight sheet" wide>
          <SheetPlace form={form} checked={checked} ready={expansion !== null} />
        </Section>
      </div>
    </div>
  );
}

const isGiven = ({ texts }: PlanForm, path: FieldPath): boolean => (texts[path] ?? '').trim() !== '';

/** Whether the plan wants a map on axes of its own; one that has such axes left can take them out again. */
const wantsMap = (form: PlanForm): boolean => isGiven(form, 'targets.map.deadTimeUs') || isGiven(form, 'targets.map.slopePercent') || mapLists.some((list) => (form.axes[list] ?? []).length > 0);

/** Whether the plan states what is wanted, in place of replicates. */
const wantsTargets = (form: PlanForm): boolean => isGiven(form, 'targets.deadTimeUs') || isGiven(form, 'targets.slopePercent') || isGiven(form, 'targets.staticFlowPercent') || isGiven(form, 'targets.spend') || wantsMap(form);

function SheetPlace({ form, checked, ready }: { readonly form: PlanForm; readonly checked: Checked; readonly ready: boolean }) {
  const { bench } = useHost();
  if (!ready) return <p className="quiet">Pre-flight comes when the plan has no problems.</p>;
  switch (checked.state) {
    case 'waiting':
      return <p className="quiet">The host is checking the plan.</p>;
    case 'failed':
      return <Notice tone="bad">{checked.text}</Notice>;
    case 'done':
      return (
        <>
          {bench.state !== 'connected' && (
            <Notice tone="off">No bench is connected, so the reach of supply, regulator, timer and channels could not be looked at. Connect one on the bench page; the sheet follows by itself.</Notice>
          )}
          {checked.problems.map(({ path, text }) => (
            <Notice key={`${path} ${text}`} tone="bad">
              {path === '' ? '' : `${nameOf(path)}: `}{planProblemShown(text, ...unitAt(form, path))}
            </Notice>
          ))}
          {checked.sheet !== null && <SheetPart sheet={checked.sheet} />}
        </>
      );
  }
}

interface FoldProps {
  readonly title: string;
  readonly summary: string;
  readonly problems: readonly Problem[];
  readonly paths: readonly string[];
  readonly children: ReactNode;
}

/** A part that is folded away; it says in its line what it holds and whether something is wrong in it. */
function Fold({ title, summary, problems, paths, children }: FoldProps) {
  const count = useMemo(
    () => problems.filter(({ path }) => placesOf(path).some((place) => paths.includes(place))).length,
    [problems, paths],
  );
  return (
    <details className="section section-wide plan-fold">
      <summary>
        <h2>{title}</h2> <span className="quiet small">{summary}</span>
        {count > 0 && <span className="field-problem">{plural(count, 'problem')}</span>}
      </summary>
      <div className="plan-fold-body">{children}</div>
    </details>
  );
}

function ReferenceInjector({ form, problems }: { readonly form: PlanForm; readonly problems: readonly Problem[] }) {
  const path = 'reference.injector';
  const wrong = problemsAt(problems, path);
  const value = form.texts[path] ?? '';
  const serials = [...new Set(form.injectors.map(({ serialNumber }) => serialNumber))];
  const field = { ...fieldAt(path), kind: 'choice' as const, choices: serials };
  return (
    <LabelledField field={field} path={path} wrong={wrong}>
      {(describedBy) => (
        <FieldControl
          path={path}
          field={field}
          value={value}
          words={Object.fromEntries(form.injectors.map((row) => [row.serialNumber, `${row.serialNumber}, channel ${row.channel}`]))}
          problems={wrong}
          describedBy={describedBy}
          onChange={(text) => changeForm((now) => ({ ...now, texts: { ...now.texts, [path]: text } }))}
        />
      )}
    </LabelledField>
  );
}

/** Opens what hides the field of this path and puts the focus there, or at the nearest field that there is. */
export function goToField(path: string): void {
  for (const place of placesOf(path)) {
    const element = document.getElementById(idOf(place));
    if (element === null) continue;
    for (let around = element.parentElement; around !== null; around = around.parentElement) {
      if (around instanceof HTMLDetailsElement) around.open = true;
    }
    element.focus({ preventScroll: true });
    element.scrollIntoView({ block: 'center' });
    return;
  }
}

/** All problems, each a way to its field. */
export function ProblemList({ form, problems }: { readonly form: PlanForm; readonly problems: readonly Problem[] }) {
  const most = 8;
  if (problems.length === 0) return null;
  return (
    <Notice tone="note">
      <p>{problems.length === 1 ? 'One thing to correct in this plan:' : `${problems.length} things to correct in this plan:`}</p>
      <ul className="plan-problem-list">
        {problems.slice(0, most).map(({ path, text }, index) => (
          <li key={`${path} ${index}`}>
            <Button kind="quiet" onPress={() => goToField(path)}>
              {nameOf(path)}
            </Button>{' '}
            {planProblemShown(text, ...unitAt(form, path))}
          </li>
        ))}
      </ul>
      {problems.length > most && <p>And {problems.length - most} more, each at its field.</p>}
    </Notice>
  );
}

/** In which unit of the document the field at a path is, and whether that is a difference. */
function unitAt({ guards }: PlanForm, path: string): readonly [unit: string, difference: boolean] {
  const [, index, column] = /^guards\[(\d+)\]\.(\w+)$/u.exec(path) ?? [];
  const ofGuard = index === undefined || column === undefined ? null : unitOfGuard(guards[Number(index)]?.signal ?? '', column);
  return ofGuard === null ? [wordsAt(path.replace(/\[\d+\]/gu, '[]'))?.unit ?? wordsAt(path.replace(/\[\d+\]$/u, ''))?.unit ?? '', false] : [ofGuard.unit, ofGuard.difference];
}

/** A path as the form calls it: `Pulse width, 4th value`. */
function nameOf(path: string): string {
  const general = path.replace(/\[\d+\]/gu, '[]');
  const index = /\[(\d+)\]/u.exec(path)?.[1];
  const number = index === undefined ? '' : ` ${Number(index) + 1}`;
  const list = listNames.find((name) => general === listPaths[name] || general === `${listPaths[name]}[]`);
  if (list !== undefined) return `${fieldAt(listPaths[list]).label}${number === '' ? '' : `, value${number}`}`;
  const known = labelAt(general);
  if (general.startsWith('injectors[]')) return `Injector${number}${known === undefined ? '' : `, ${known}`}`;
  if (general.startsWith('types[]')) return `Type${number}${known === undefined ? '' : `, ${known}`}`;
  if (general.startsWith('guards[]')) return `Guard${number}${known === undefined ? '' : `, ${known}`}`;
  if (general.startsWith('reference.')) return `Reference point, ${known ?? general}`;
  return known ?? (path === '' ? 'The plan' : `${path.charAt(0).toUpperCase()}${path.slice(1)}`);
}
