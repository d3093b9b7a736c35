import { decimalsShown, shownIn, storedFrom, unitShown } from '../../settings/quantities.ts';
import { shownText } from '../../components/shown-text.ts';
import { useState } from 'react';
import type { BenchView } from '../../../app/contract/bench-requests.ts';
import type { Params, AnswerTo } from '../../../app/contract/contract.ts';
import type { Part } from '../../../app/contract/library-requests.ts';
import { toKilopascals, toMilliseconds } from '../../../app/quantities/quantity.ts';
import { Button } from '../../components/button.tsx';
import { Choice, NumberInput } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { Notice, Status } from '../../components/status.tsx';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { useTyped, useTypedNumber } from '../../typed/typed.ts';
import { useLatest } from '../../host/use-latest.ts';
import { burstProblem, mostPulses } from './burst-form.ts';
import { durationText } from '../../components/durations.ts';

type Connected = Extract<BenchView, { state: 'connected' }>;
type Manual = 'manual.supply' | 'manual.pressure' | 'manual.burst' | 'manual.safe' | 'manual.clear-faults';

const purge = { widthMs: 4, periodMs: 20, count: 200 };

/** What stands against work by hand, in a sentence; empty: nothing. */
function useAgainst(bench: Connected): string {
  const { line, control, manual, openRun } = useHost();
  if (line.state !== 'up') return 'The host cannot be reached.';
  if (!control.mine) return 'This window watches. Take control to work by hand.';
  if (!bench.up) return 'The link to the bench is down.';
  if (manual === null) return openRun === null ? 'The host has not offered work by hand yet.' : 'A run has the bench. Pause it or let it end first.';
  return manual.against;
}

export function ByHand({ bench }: { readonly bench: Connected }) {
  const against = useAgainst(bench);
  const { manual } = useHost();
  const [said, setSaid] = useState<{ readonly well: boolean; readonly text: string } | null>(null);
  const [busy, setBusy] = useState<Manual | null>(null);
  const { capabilities } = bench;

  const perform = async <N extends Manual>(name: N, params: Params<N>): Promise<void> => {
    setBusy(name);
    const reply = await ask(name, params);
    setBusy(null);
    if (!reply.ok) {
      setSaid({ well: false, text: reply.failure.text });
      return;
    }
    const { accepted, reason } = reply.value as AnswerTo<Manual>;
    setSaid({ well: accepted, text: reason === '' ? (accepted ? 'Done.' : 'Refused without a reason.') : reason });
  };

  return (
    <Section
      title="Manual control"
      aside={against === '' ? <Status tone="good">Ready</Status> : <Status tone="note">Not now</Status>}
    >
      {against !== '' && <Notice tone="note">{shownText(against)}</Notice>}
      <p className="small">
        Before you drive anything: ventilation on, cover closed, no ignition source near, lines and rail tight. The fluid is flammable and under pressure, the
        drivers are energised once armed.
      </p>
      {manual !== null && manual.doing !== '' && <p role="status">{shownText(manual.doing)}</p>}
      {said !== null && !said.well && <Notice tone="bad">{shownText(said.text)}</Notice>}
      <div className="hand-sets">
      <SupplyForm bench={bench} against={against} busy={busy === 'manual.supply'} onSet={(volts) => void perform('manual.supply', { volts })} />
      {capabilities.pressure.commandable ? (
        <PressureForm min={toKilopascals(capabilities.pressure.min)} max={toKilopascals(capabilities.pressure.max)} against={against} busy={busy === 'manual.pressure'} onSet={(kpa) => void perform('manual.pressure', { kpa })} />
      ) : (
        <p className="small quiet">This bench cannot set its rail pressure: turn its regulator and watch the reading.</p>
      )}
      </div>
      <BurstForm bench={bench} against={against} busy={busy === 'manual.burst'} onFire={(burst) => void perform('manual.burst', burst)} />
      <div className="button-row">
        <Button busy={busy === 'manual.safe'} onPress={() => void perform('manual.safe', {})} against={bench.up ? '' : 'The link to the bench is down.'}>
          Make safe: pulses off, supply safe, disarm
        </Button>
      </div>
    </Section>
  );
}

interface FormProps {
  readonly against: string;
  readonly busy: boolean;
}

function SupplyForm({ bench, against, busy, onSet }: FormProps & { readonly bench: Connected; readonly onSet: (volts: number) => void }) {
  const { minSupply, maxSupply } = bench.capabilities;
  const supply = useTypedNumber('bench/supply', '14', 'Supply by hand');
  const volts = supply.value;
  const wrong = volts >= minSupply && volts <= maxSupply ? '' : `Give ${minSupply} to ${maxSupply} V.`;
  const set = (): void => {
    if (wrong === '' && against === '' && !busy) onSet(volts);
  };
  return (
    <form className="hand-row" onSubmit={(event) => event.preventDefault()}>
      <NumberInput label="Supply" unit="V" {...supply} min={minSupply} max={maxSupply} step={0.5} decimals={3} onEnter={set} hint={`${minSupply} to ${maxSupply} V. Arms the drivers.`} />
      <Button onPress={set} busy={busy} against={against === '' ? wrong : against} showAgainst={false}>
        Set supply
      </Button>
    </form>
  );
}

function PressureForm({ min, max, against, busy, onSet }: FormProps & { readonly min: number; readonly max: number; readonly onSet: (kpa: number) => void }) {
  const unit = unitShown('kPa');
  const pressure = useTypedNumber(`bench/pressure/${unit}`, { kPa: '400', bar: '4', psi: '58' }[unit] ?? '', 'Rail pressure by hand');
  const kpa = storedFrom('kPa', pressure.value);
  const [least, most] = [shownIn('kPa', min), shownIn('kPa', max)].map((limit) => Number(limit.toFixed(decimalsShown('kPa', 1))));
  const range = `${least ?? ''} to ${most ?? ''} ${unit}.`;
  const wrong = kpa >= min && kpa <= max ? '' : `Give ${range}`;
  const set = (): void => {
    if (wrong === '' && against === '' && !busy) onSet(kpa);
  };
  return (
    <form className="hand-row" onSubmit={(event) => event.preventDefault()}>
      <NumberInput label="Rail pressure, gauge" unit={unit} {...pressure} problem={Number.isFinite(pressure.value) ? wrong : ''} step={shownIn('kPa', 10, true)} decimals={decimalsShown('kPa', 1)} onEnter={set} hint={range} />
      <Button onPress={set} busy={busy} against={against === '' ? wrong : against} showAgainst={false}>
        Set pressure
      </Button>
    </form>
  );
}

function BurstForm({ bench, against, busy, onFire }: FormProps & { readonly bench: Connected; readonly onFire: (burst: Params<'manual.burst'>) => void }) {
  const { capabilities } = bench;
  const [channel, setChannel] = useTyped('bench/channel', '1', { title: 'Injector by hand' });
  const width = useTypedNumber('bench/width', '4', 'Pulse width by hand');
  const period = useTypedNumber('bench/period', '20', 'Period by hand');
  const counted = useTypedNumber('bench/count', '500', 'Pulses by hand');
  const [widthMs, periodMs, count] = [width.value, period.value, counted.value];
  const [parts, setParts] = useState<readonly Part[]>([]);
  useWhenUp(() => {
    void ask('parts.list', {}).then((reply) => {
      if (reply.ok) setParts(reply.value);
    });
  });
  const burst = { channel: Number(channel), widthMs, periodMs, count };
  const problem = burstProblem(burst, capabilities);
  const seconds = (count * periodMs) / 1e3;
  const channels = Array.from({ length: capabilities.channels }, (_, i) => {
    const part = parts.find((one) => one.channel === i + 1);
    return { value: String(i + 1), text: part === undefined ? `Channel ${i + 1}` : `Channel ${i + 1}: ${part.type} ${part.serialNumber}` };
  });
  const fire = (): void => {
    if (problem === '' && against === '' && !busy) onFire(burst);
  };
  return (
    <fieldset className="hand-burst">
      <legend>Pulses on one injector</legend>
      <div className="field-row">
        <Choice label="Injector" value={channel} options={channels} onChange={setChannel} />
        <NumberInput label="Pulse width" unit="ms" {...width} min={toMilliseconds(capabilities.minWidth)} max={toMilliseconds(capabilities.maxWidth)} step={0.1} decimals={3} onEnter={fire} />
        <NumberInput label="Period" unit="ms" {...period} min={toMilliseconds(capabilities.minPeriod)} max={toMilliseconds(capabilities.maxPeriod)} step={1} decimals={3} onEnter={fire} />
        <NumberInput label="Count" unit="pulses" {...counted} min={1} max={Math.min(mostPulses, capabilities.maxCount)} step={100} decimals={0} onEnter={fire} />
      </div>
      <p className="small quiet">
        {problem === '' ? `Lasts ${durationText(seconds)} at ${((100 * widthMs) / periodMs).toFixed(1)} % duty. The controller counts; it stops by itself.` : problem}
      </p>
      <BurstNow />
      <div className="button-row">
        <Button kind="primary" onPress={fire} busy={busy} against={against === '' ? problem : against} showAgainst={false}>
          Fire {Number.isFinite(count) ? count : ''} pulses
        </Button>
        <Button onPress={() => onFire({ channel: burst.channel, ...purge })} busy={busy} against={against} showAgainst={false}>
          Purge this injector ({purge.count} × {purge.widthMs} ms)
        </Button>
      </div>
    </fieldset>
  );
}

/** How far the controller is with the burst that it was given last. */
function BurstNow() {
  const { latest } = useLatest();
  if (latest === null || latest.frame.burst.number === 0) return null;
  const { active, done, commanded } = latest.frame.burst;
  if (!active && done >= commanded) return null;
  return (
    <div className="hand-progress">
      <Status tone={active ? 'busy' : 'note'}>{active ? `Pulsing: ${done} of ${commanded}` : `The last burst was stopped after ${done} of ${commanded} pulses`}</Status>
      {active && <progress value={done} max={commanded} aria-label="Pulses done" />}
    </div>
  );
}
