/** The fault contract for people: as Markdown, and what the trials found of it. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { cellOf, modes, whoActs, type Cell, type Outcome, type Row } from './contract.ts';
import { contract } from './contract-windows.ts';
import { holdToContract, isContradicted, type PairFindings } from './contract-trials.ts';

export const contractFile = join(import.meta.dirname, 'FAULT-CONTRACT.md');

const groups: readonly (readonly [Row['of'], string])[] = [
  ['line', 'The line'], ['controller', 'The controller'], ['bench', 'The bench'], ['host', 'The host'], ['clock', 'The clock'],
  ['disk', 'The disk'], ['process', 'Another process'], ['person', 'A person'], ['window', 'Windows'],
];

const timeText = (s: number): string => (s === 0 ? 'at once' : `${Number(s.toFixed(2))} s`);
const safeText = (safe: Outcome['safeS']): string => (safe === 'goes on' ? 'goes on' : safe === 0 ? 'is safe' : timeText(safe));
const reachedText = ({ end, endS }: Outcome): string => (end === 'goes on' || end === 'stays' ? '' : ` within ${timeText(endS)}`);
const attemptText = { cut: 'cut', judged: 'judged', any: '' } as const;
const saidText = (said: readonly string[]): string => said.map((text) => `"${text}"`).join(' or ');

/** Rows of one fault with the modes that share a cell, in the order of the modes. */
function lines(row: Row): readonly string[] {
  const shared = new Map<string, { readonly modes: string[]; readonly cell: ReturnType<typeof cellOf> }>();
  for (const mode of modes) {
    const cell = cellOf(row, mode);
    const name = JSON.stringify(cell);
    const there = shared.get(name);
    if (there === undefined) shared.set(name, { modes: [mode], cell });
    else there.modes.push(mode);
  }
  return [...shared.values()].flatMap(({ modes: inModes, cell }, i) => {
    const first = `| ${i === 0 ? `${row.what} (\`${row.id}\`)` : ''} | ${inModes.join(', ')} |`;
    if (typeof cell === 'string') return [`${first} **${cell}** | | | | | |`];
    if ('impossible' in cell) return [`${first} cannot happen: ${cell.impossible} | | | | | |`];
    return outcomeLines(first, cell);
  });
}

function outcomeLines(first: string, cell: Cell): readonly string[] {
  return cell.outcomes.map((outcome, i) => {
    const which = cell.outcomes.length === 1 ? '' : i === 0 ? `depends ${cell.why}: ` : 'or: ';
    return `${i === 0 ? first : '| | |'} ${which}${outcome.end}${reachedText(outcome)} | ${whoActs(outcome.end)} | ${safeText(outcome.safeS)} | ${attemptText[outcome.attempt]} | ${saidText(outcome.said)} | ${i === 0 ? cell.rules : ''} |`;
  });
}

export function contractAsMarkdown(rows: readonly Row[] = contract): string {
  return [
    '# What comes of what',
    '',
    'The fault contract: what comes of each fault in each mode of a run, how long it takes at most until the bench is safe, who must act, and',
    'what is told. Written from the rules in `contract.ts`; this file is made from it (`npm run show -- fault-contract write`), and a test',
    'fails when it is out of date. `npm run show -- fault-contract` holds the program to it. Times are for a watchdog of 1 s. In every cell what',
    'was accepted is kept; the column *attempt* says what becomes of one that is going on.',
    '',
    ...groups.flatMap(([of, title]) => [
      `## ${title}`,
      '',
      '| what happens | in | the run | who must act | bench safe within | attempt | told | by |',
      '|---|---|---|---|---|---|---|---|',
      ...rows.filter((row) => row.of === of).flatMap(lines),
      '',
    ]),
  ].join('\n');
}

/** The longest of a pair's trials against what the outcome allows. */
function longest({ trials }: PairFindings): readonly { readonly what: 'safe' | 'at its end'; readonly tookS: number; readonly limitS: number }[] {
  return trials.flatMap(({ outcome, safeS, endS }) => [
    ...(outcome === null || outcome.safeS === 'goes on' || outcome.safeS === 0 ? [] : [{ what: 'safe' as const, tookS: safeS, limitS: outcome.safeS }]),
    ...(outcome === null || outcome.endS === 0 ? [] : [{ what: 'at its end' as const, tookS: endS, limitS: outcome.endS }]),
  ]);
}

export function contractReport(all: readonly PairFindings[]): string {
  const out: string[] = [`${'fault'.padEnd(28)}${modes.map((mode) => mode.padStart(12)).join('')}   longest until safe, until its end (of what is allowed)`];
  for (const row of new Set(all.map((pair) => pair.row))) {
    const pairs = all.filter((pair) => pair.row === row);
    const counts = modes.map((mode) => {
      const pair = pairs.find((one) => one.mode === mode);
      return (pair === undefined ? '' : `${pair.trials.filter((trial) => trial.reached).length}${isContradicted(pair) ? '!' : ' '}`).padStart(12);
    });
    const worst = (['safe', 'at its end'] as const).map((what) => {
      const times = pairs.flatMap(longest).filter((one) => one.what === what);
      const most = times.reduce<(typeof times)[number] | null>((a, b) => (a === null || b.tookS / b.limitS > a.tookS / a.limitS ? b : a), null);
      return most === null ? '-' : `${most.tookS.toFixed(2)} (${most.limitS.toFixed(2)}) s`;
    });
    out.push(`${row.id.padEnd(28)}${counts.join('')}   ${worst.join(', ')}`);
  }
  for (const pair of all.filter(isContradicted)) {
    out.push(`${pair.row.id} in ${pair.mode}: ${pair.empty ?? (pair.trials.some((trial) => trial.reached) ? 'contradicted' : 'not reached')}`);
    for (const { seed, atS, problems } of pair.trials.filter((trial) => trial.problems.length > 0).slice(0, 3)) out.push(`  seed ${seed}, at ${atS} s: ${problems.slice(0, 3).join('; ')}`);
  }
  const trials = all.flatMap((pair) => pair.trials);
  const reached = all.filter((pair) => pair.trials.some((trial) => trial.reached)).length;
  out.push(
    `${new Set(all.map((pair) => pair.row)).size} faults, ${all.length} pairs with a mode, ${reached} reached in ${trials.length} trials, ` +
      `${all.filter((pair) => pair.empty !== null).length} empty, ${all.filter((pair) => pair.empty === null && isContradicted(pair)).length} contradicted or not reached`,
  );
  return out.join('\n');
}

/** `fault-contract [FROM-SEED] [ROUNDS]` holds the program to the contract; `fault-contract write` writes it down for people. */
export async function showContract([from = '1', rounds = '1', ...ids]: readonly string[]): Promise<boolean> {
  if (from === 'write') {
    writeFileSync(contractFile, contractAsMarkdown());
    return true;
  }
  const all = await holdToContract(Number(from), Number(rounds), ids.length === 0 ? contract : contract.filter((row) => ids.includes(row.id)));
  process.stdout.write(`${contractReport(all)}\n`);
  return !all.some(isContradicted);
}
