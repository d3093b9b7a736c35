/** How steady a bench holds a point: Allan deviation of a reference hold. CLI-75 */
import { Option, type Command } from 'commander';
import type { RunState } from '../../app/journal/state.ts';
import { pointIndex, shownPoint } from '../../app/plan/points.ts';
import { driftSentence, noiseWords, paysSentence, stabilityWords } from '../../app/results/stability-words.ts';
import type { SignalStability } from '../../app/results/stability.ts';
import { stabilityOfRun, type StabilityAt } from '../export/held-windows.ts';
import { chosenRun } from './chosen-run.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption } from './places.ts';
import { columnLines } from './print-table.ts';
import { stateOf, withArchive } from './result-commands.ts';
import { say, widthOf } from './say.ts';
import { Stop } from './stop.ts';
import { wholeNumber } from './values.ts';

type Found = Extract<StabilityAt, { kind: 'stability' }>;

const three = (value: number): string => Number(value.toPrecision(3)).toString();

const setPointText = ({ at }: Found, state: RunState): string =>
  `${state.plan.injectors[at.injector]?.serialNumber ?? `channel ${at.channel}`} at ${at.voltage} V, ${at.pressure / 1e3} kPa, ${three(at.width * 1e3)} ms of ${three(at.period * 1e3)} ms`;

export function addStabilityCommand(program: Command): void {
  withJsonOption(program.command('stability'))
    .description('how steady the bench holds a point: Allan deviation of mass per pulse, pressure, supply and temperatures over averaging time, from windows of half a minute and more')
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(new Option('--point <number>', 'of this point (counted from 1); without it that which was held longest, all windows of its set point together').argParser(wholeNumber(1)))
    .addOption(archiveOption())
    .action((named: string | undefined, { archive: path, point, json }: { archive: string; point?: number; json?: true }) =>
      withArchive(path, (archive) => {
        const run = chosenRun(archive, named);
        const state = stateOf(archive, run, { silent: json === true });
        const found = stabilityOfRun(archive, run, state, point === undefined ? undefined : pointIndex(point));
        if (found.kind === 'no-stability') throw new Stop(exitCode.badInput, `Run ${run}: ${found.text}`);
        if (json === true) for (const signal of found.signals) printJson('stability', forPrograms(run, state, found, signal));
        else say(...lines(run, state, found));
      }),
    );
}

function lines(run: string, state: RunState, found: Found): readonly string[] {
  const { windows, duration, step, signals } = found;
  const width = widthOf(process.stdout, Number.POSITIVE_INFINITY);
  const counted = windows.length === 1 ? `point ${shownPoint(windows[0]?.point ?? 0)}` : `${windows.length} windows`;
  return [
    `Run ${run}, ${setPointText(found, state)}: ${counted}, ${Math.round(duration)} s in steps of ${step} s`,
    ...signals.flatMap((signal) => {
      const { name, unit, times } = stabilityWords[signal.signal];
      const rows = signal.rows.map((r) => [`${three(r.time)} s`, three(r.deviation * times), `${three(r.low * times)} to ${three(r.high * times)}`, r.dof.toFixed(0), noiseWords[r.noise]]);
      return ['', `${name}: Allan deviation, ${unit}`, ...columnLines([['average', 'deviation', '95 % interval', 'dof', 'noise'], ...rows], 'right', width), paysSentence(signal), driftSentence(signal)];
    }),
    '',
    'No plan takes its window length from this. To use one, write it into the plan: window.minS.',
  ];
}

const forPrograms = (run: string, { plan, notTraceable }: RunState, { at, windows, duration, step }: Found, { signal, mean, rows, pays, drift }: SignalStability) => ({
  run, notTraceable: [...notTraceable], points: windows.map((w) => ({ point: shownPoint(w.point), attempt: w.attempt })), injector: plan.injectors[at.injector]?.serialNumber ?? '', voltage: at.voltage, pressurePa: at.pressure, widthS: at.width, periodS: at.period,
  durationS: duration, stepS: step, signal, mean,
  rows: rows.map(({ time, deviation, low, high, dof, noise }) => ({ timeS: time, deviation, low, high, dof, noise })),
  paysUntil: pays === null ? null : { timeS: pays.time, lowS: pays.low, highS: pays.high },
  drift: drift === null ? null : { perSecond: drift.perSecond, u: drift.u, expanded: drift.expanded, called: drift.called },
});
