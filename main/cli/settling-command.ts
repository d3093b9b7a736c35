/** How long a bench takes to settle after its pulses begin, and what wait a plan needs. CLI-77 */
import type { Command } from 'commander';
import type { RunState } from '../../app/journal/state.ts';
import { flowLimit, type BandSettling, type Settling } from '../../app/results/settling.ts';
import { settlingOfRun } from '../export/held-windows.ts';
import { chosenRun } from './chosen-run.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption } from './places.ts';
import { columnLines } from './print-table.ts';
import { stateOf, withArchive } from './result-commands.ts';
import { say, widthOf } from './say.ts';
import { Stop } from './stop.ts';

type Found = Extract<Settling, { kind: 'settling' }>;

export function addSettlingCommand(program: Command): void {
  withJsonOption(program.command('settling'))
    .description('how long pressure, supply and flow take to settle after the pulses of a point begin, and whether the wait of the plan (settleS) is long enough or longer than it has to be')
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(archiveOption())
    .action((named: string | undefined, { archive: path, json }: { archive: string; json?: true }) =>
      withArchive(path, (archive) => {
        const run = chosenRun(archive, named);
        const state = stateOf(archive, run, { silent: json === true });
        const found = settlingOfRun(archive, run, state);
        if (found.kind === 'no-settling') throw new Stop(exitCode.badInput, `Run ${run}: ${found.text}`);
        if (json === true) printJson('settling', forPrograms(run, state, found));
        else say(...lines(run, state, found));
      }),
    );
}

const time = (s: number): string => `${Number(s.toFixed(2))} s`;
const percent = (ratio: number): string => (100 * ratio).toFixed(2);

function bandSentence(name: string, tolerance: string, { within, attempts, median, latest }: BandSettling): string {
  const when = median === null || latest === null ? '' : `: half of them from ${time(median)} on, the latest from ${time(latest)} on`;
  return `${name}: within ${tolerance} until its window began in ${within} of ${attempts} attempts${when}.`;
}

function lines(run: string, { plan }: RunState, found: Found): readonly string[] {
  const { waited, pressure, supply, flow } = found;
  const rows = flow.map((r) => [`${r.from.toFixed(2)} to ${r.to.toFixed(2)} s`, percent(r.mean), percent(r.expanded), r.attempts.toString()]);
  return [
    `Run ${run}: ${pressure.attempts} attempts, times from the frame that shows the pulses running. The plan waits ${time(waited)} (settleS).`,
    bandSentence('Pressure', `${plan.condition.pressureToleranceKpa} kPa`, pressure),
    bandSentence('Supply', `${plan.supply.toleranceV} V`, supply),
    ...(rows.length === 0 ? [] : ['Flow against what it comes to in the rest of the window, mean over the attempts:', ...columnLines([['time', 'differs by, %', '+/- (95 %)', 'attempts'], ...rows], 'right', widthOf(process.stdout, Number.POSITIVE_INFINITY))]),
    verdict(found),
    'No plan takes its wait from this. To use another one, write it into the plan: settleS.',
  ];
}

/** What the plan's wait is, held to what was found. */
function verdict({ waited, pressure, supply, flow, flowFrom }: Found): string {
  const late = [pressure, supply].some(({ within, attempts }) => within < attempts);
  const limit = `${Number(percent(flowLimit))} %`;
  if (late) return 'The wait is too short: in some attempts pressure or supply were not within tolerance when the window began. Wait longer, or look at regulator and supply.';
  if (flow.length === 0) return 'Of the flow nothing can be told: windows are too short, or the meter gave too few edges.';
  const uneven = flow.find(({ from, mean, expanded }) => from >= waited && Math.abs(mean) - expanded > flowLimit);
  if (uneven !== undefined) return `The wait is too short: ${time(uneven.from)} after the pulses began the flow was still ${percent(Math.abs(uneven.mean))} % ${uneven.mean < 0 ? 'below' : 'above'} what it came to.`;
  if (flowFrom === null) return `Whether the flow settles to within ${limit} cannot be told: it does not, or these are too few attempts.`;
  if (flowFrom > waited) return `The wait is too short: the flow is not within ${limit} of what it comes to before ${time(flowFrom)}.`;
  const needed = Math.max(flowFrom, pressure.latest ?? 0, supply.latest ?? 0);
  const enough = needed === 0 ? `Pressure, supply and flow (within ${limit}) were even from the first half second on in these attempts` : `A wait of ${time(needed)} was enough in all of these attempts, with the flow within ${limit}`;
  return `${enough}; the plan waits ${time(waited)}, which is ${time((waited - needed) * pressure.attempts)} ${needed === 0 ? 'over all of them' : 'more over all of them'}.`;
}

const band = ({ within, attempts, median, latest }: BandSettling) => ({ within, attempts, medianS: median, latestS: latest });

const forPrograms = (run: string, { notTraceable }: RunState, { waited, pressure, supply, flow, flowFrom }: Found) => ({
  run, notTraceable: [...notTraceable], waitedS: waited, pressure: band(pressure), supply: band(supply),
  flow: flow.map(({ from, to, mean, expanded, attempts }) => ({ fromS: from, toS: to, mean, expanded, attempts })),
  flowLimit, flowFromS: flowFrom,
});
