import { useState } from 'react';
import type { BenchChoice, BenchView } from '../../../app/contract/bench-requests.ts';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { Button } from '../../components/button.tsx';
import { Choice, NumberInput } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { useTyped } from '../../typed/typed.ts';

type Scenarios = AnswerTo<'bench.scenarios'>;

/** As the program was started: the scenario of its command line, or the sample bench. */
const asStarted = '';

export interface ScenarioWish {
  /** Empty: as the program was started. */
  readonly name: string;
  /** By field; NaN and absent: as the scenario has it. */
  readonly imperfections: Readonly<Record<string, number>>;
  readonly seed: number;
}

const soundBench: ScenarioWish = { name: asStarted, imperfections: {}, seed: Number.NaN };

/** A choice of it before a bench is connected, kept over a reload (WIN-28). */
export function useWish(): readonly [ScenarioWish, (wish: ScenarioWish) => void] {
  // What is kept has no NaN: null stands for it.
  const [kept, keep] = useTyped<{ readonly name: string; readonly imperfections: Readonly<Record<string, number>>; readonly seed: number | null }>('bench/scenario', { name: asStarted, imperfections: {}, seed: null }, { title: 'What goes wrong on the simulated bench' });
  return [
    { ...kept, seed: kept.seed ?? Number.NaN },
    ({ name, imperfections, seed }) => keep({ name, imperfections: Object.fromEntries(Object.entries(imperfections).filter(([, value]) => Number.isFinite(value))), seed: Number.isFinite(seed) ? seed : null }),
  ];
}

export function useScenarios(): Scenarios | null {
  const [scenarios, setScenarios] = useState<Scenarios | null>(null);
  useWhenUp(() => void ask('bench.scenarios', {}).then((reply) => setScenarios(reply.ok ? reply.value : null)));
  return scenarios;
}

/** The scenario as it is given to the host; absent: nothing was chosen. */
export function scenarioOf({ name, imperfections, seed }: ScenarioWish, scenarios: Scenarios | null): Record<string, unknown> | undefined {
  const chosen = scenarios?.scenarios.find((one) => one.name === name);
  const numbers = Object.entries(imperfections).filter(([, value]) => Number.isFinite(value));
  if (chosen === undefined && numbers.length === 0 && !Number.isFinite(seed)) return undefined;
  return {
    scenarioVersion: 1,
    ...chosen?.document,
    name: `${chosen?.name ?? 'A sound bench'}${numbers.length > 0 ? ', with numbers of its own' : ''}`,
    ...(Number.isFinite(seed) ? { seed } : {}),
    imperfections: { ...(chosen?.document['imperfections'] as object | undefined), ...Object.fromEntries(numbers) },
  };
}

/** Why it cannot be used as it stands; empty: it can. */
export function scenarioAgainst({ imperfections, seed }: ScenarioWish, scenarios: Scenarios | null): string {
  const wrong = scenarios?.imperfections.find(({ path, max }) => (imperfections[path] ?? 0) < 0 || (imperfections[path] ?? 0) > max);
  if (wrong !== undefined) return `${wrong.label} must be 0 to ${wrong.max} ${wrong.unit}.`;
  return Number.isFinite(seed) && !(Number.isInteger(seed) && seed >= 0 && seed <= 0xffffffff) ? 'The seed is a whole number, 0 to 4294967295.' : '';
}

/** What goes wrong on the simulated bench, by name and by number. */
export function ScenarioFields({ wish, scenarios, onWish }: { readonly wish: ScenarioWish; readonly scenarios: Scenarios | null; readonly onWish: (wish: ScenarioWish) => void }) {
  const list = scenarios?.scenarios ?? [];
  const chosen = list.find(({ name }) => name === wish.name);
  return (
    <>
      <Choice
        label="What goes wrong"
        value={wish.name}
        options={[{ value: asStarted, text: 'As the program was started' }, ...list.map(({ name }) => ({ value: name, text: name }))]}
        onChange={(name) => onWish({ ...wish, name })}
        hint={chosen?.text ?? 'The bench of the command line, or a sound one.'}
      />
      <details>
        <summary>Numbers of its own</summary>
        <p className="small quiet">What real benches do and certificates do not say. Empty: as the scenario has it. Another seed is another set of injectors and instruments.</p>
        <div className="field-row">
          {scenarios?.imperfections.map(({ path, label, unit, max }) => (
            <NumberInput key={path} label={label} unit={unit} value={wish.imperfections[path] ?? Number.NaN} min={0} max={max} step={0.1} onChange={(value) => onWish({ ...wish, imperfections: { ...wish.imperfections, [path]: value } })} />
          ))}
          <NumberInput label="Seed" unit="" value={wish.seed} min={0} max={0xffffffff} step={1} decimals={0} onChange={(seed) => onWish({ ...wish, seed })} />
        </div>
      </details>
    </>
  );
}

/** While a simulated bench is connected: its speed, at any time; another scenario is another bench, so not while a run is open (WIN-50). */
export function SimulatedPart({ bench }: { readonly bench: Extract<BenchView, { state: 'connected' }> }) {
  const { control, openRun, line } = useHost();
  const scenarios = useScenarios();
  const [speed, setSpeed] = useState(bench.speed);
  const [wish, setWish] = useState(soundBench);
  const [problem, setProblem] = useState('');
  const [busy, setBusy] = useState(false);
  const notMine = line.state !== 'up' ? 'The host cannot be reached.' : control.mine ? '' : 'This window watches. Take control first.';
  const speedAgainst = notMine !== '' ? notMine : !(speed >= 0.1 && speed <= 100) ? 'The speed must be 0.1 to 100.' : speed === bench.speed ? 'It goes at this speed already.' : '';
  const benchAgainst = notMine !== '' ? notMine : openRun !== null ? 'A run is open on the bench. Close it first: another scenario is another bench.' : scenarioAgainst(wish, scenarios);
  const pace = async (): Promise<void> => {
    const reply = await ask('bench.speed', { speed });
    setProblem(reply.ok ? '' : reply.failure.text);
  };
  const exchange = async (): Promise<void> => {
    setBusy(true);
    const scenario = scenarioOf(wish, scenarios);
    const choice: BenchChoice = { kind: 'simulated', speed: bench.speed, ...(scenario === undefined ? {} : { scenario }) };
    const reply = await ask('bench.connect', { bench: choice });
    setBusy(false);
    setProblem(reply.ok ? '' : reply.failure.text);
  };
  return (
    <Section title="Simulated bench" aside={<span className="small quiet">{bench.scenario}</span>}>
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      <p>
        {bench.speed === 1
          ? 'Its time passes as that of the clock.'
          : `Its time passes ${bench.speed} times as fast as the clock: an hour of the bench takes ${Math.round((3600 / bench.speed) * 10) / 10} s. Durations of windows, pulses and waits are bench time; times of day are the clock's.`}
      </p>
      <div className="field-row">
        <NumberInput label="Speed now" unit="× real time" value={speed} min={0.1} max={100} step={1} decimals={1} onChange={setSpeed} onEnter={() => void (speedAgainst === '' && pace())} />
        <Button onPress={() => void pace()} against={speedAgainst}>
          Set the speed
        </Button>
      </div>
      <ScenarioFields wish={wish} scenarios={scenarios} onWish={setWish} />
      <div className="button-row">
        <Button onPress={() => void exchange()} against={benchAgainst} busy={busy}>
          Put this bench in its place
        </Button>
      </div>
    </Section>
  );
}
