import { useState } from 'react';
import type { BenchChoice } from '../../../app/contract/bench-requests.ts';
import { Button } from '../../components/button.tsx';
import { Choice, NumberInput } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { useTyped, useTypedNumber } from '../../typed/typed.ts';
import { ScenarioFields, scenarioAgainst, scenarioOf, useScenarios, useWish } from './simulated-bench.tsx';

const simulated = 'simulated';

/** Chooses a bench and connects to it. */
export function Connect() {
  const { bench, control, line } = useHost();
  const [ports, setPorts] = useState<readonly { readonly path: string; readonly description: string }[]>([]);
  // Chosen before a bench is connected, and there after a reload (WIN-28).
  const [place, setPlace] = useTyped('bench/place', simulated, { title: 'Bench to connect' });
  const pace = useTypedNumber('bench/speed', '1', 'Speed of the simulated bench');
  const speed = pace.value;
  const scenarios = useScenarios();
  const [wish, setWish] = useWish();
  const [problem, setProblem] = useState('');
  const [busy, setBusy] = useState(false);
  const look = async (): Promise<void> => {
    const reply = await ask('bench.ports', {});
    if (reply.ok) setPorts(reply.value);
    else setProblem(`The serial ports cannot be listed: ${reply.failure.text}`);
  };
  useWhenUp(() => void look());

  const against =
    line.state !== 'up' ? 'The host cannot be reached.' : !control.mine ? 'This window watches. Take control first.' : !(speed >= 0.1 && speed <= 100) ? 'The speed must be 0.1 to 100.' : place === simulated ? scenarioAgainst(wish, scenarios) : '';
  const connect = async (): Promise<void> => {
    if (against !== '' || busy) return;
    setBusy(true);
    setProblem('');
    const scenario = scenarioOf(wish, scenarios);
    const choice: BenchChoice = place === simulated ? { kind: 'simulated', speed, ...(scenario === undefined ? {} : { scenario }) } : { kind: 'port', path: place };
    const reply = await ask('bench.connect', { bench: choice });
    setBusy(false);
    if (!reply.ok) setProblem(reply.failure.text);
  };
  const options = [
    { value: simulated, text: 'Simulated bench' },
    ...ports.map(({ path, description }) => ({ value: path, text: description === '' ? path : `${path}: ${description}` })),
    ...(place === simulated || ports.some(({ path }) => path === place) ? [] : [{ value: place, text: `${place}: not found` }]),
  ];
  return (
    <Section title="Connect a bench">
      {bench.state === 'absent' && bench.why !== '' && <p className="quiet">{bench.why}</p>}
      {problem !== '' && <Notice tone="bad">{problem}</Notice>}
      <div className="field-row">
        <Choice label="Bench" value={place} options={options} onChange={setPlace} hint={ports.length === 0 ? 'No serial port was found on this machine.' : `${ports.length} serial port${ports.length === 1 ? '' : 's'} found.`} />
        {place === simulated && (
          <NumberInput label="Speed" unit="× real time" {...pace} min={0.1} max={100} step={1} decimals={1} hint="1: as a real bench. 20: a sweep of an hour takes three minutes." onEnter={() => void connect()} />
        )}
      </div>
      {place === simulated && <ScenarioFields wish={wish} scenarios={scenarios} onWish={setWish} />}
      <div className="button-row">
        <Button kind="primary" onPress={() => void connect()} busy={busy || bench.state === 'connecting'} against={against}>
          {bench.state === 'connecting' ? 'Connecting' : 'Connect'}
        </Button>
        <Button onPress={() => void look()}>Look for ports again</Button>
      </div>
      <p className="small quiet">Connecting drives nothing: the bench stays disarmed until a supply is set or a run is started.</p>
    </Section>
  );
}
