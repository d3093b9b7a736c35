/** Words of the product's texts. RUN-170: whatever happens, none calls a bench safe that has not confirmed it. RUN-246: they are those of the trade. */
import { readdirSync, readFileSync } from 'node:fs';
import { join, relative } from 'node:path';
import ts from 'typescript';
import { describe, expect, it } from 'vitest';
import { unixMillis } from '../../app/quantities/quantity.ts';
import type { RunCommand, RunEvent } from '../../app/journal/events.ts';
import type { Mode } from '../../app/journal/state.ts';
import { TestRun, testPlan } from '../../app/run/scripted-bench.test-helper.ts';
import { RandomSource } from '../../firmware-protocol/simulator/plant/random.ts';
import { foldedOutcome } from '../../main/cli/outcome.ts';
import { alarmsInOrder } from '../../app/results/alarms.ts';
import { logOf } from '../../renderer/pages/run/log.ts';

/** Says that a bench is safe, or was made so, now. */
const callsSafe = /(?<!that )\b(bench|controller|it|rail) (is|was|has been|stays) (made |confirmed )?safe\b|made (it|itself) safe\b|^safe\b|\bconfirmed safe\b/i;

/** All that a person reads of a run now. */
function texts(run: TestRun): readonly string[] {
  const { state } = run.engine;
  const status = run.engine.status(run.bench.time);
  const resting = (mode: Mode): mode is 'ready' | 'paused' | 'tripped' | 'ended' => ['ready', 'paused', 'tripped', 'ended'].includes(mode);
  const events = run.journal.map((body, seq): RunEvent => ({ seq, at: unixMillis(seq), body }));
  const standing = alarmsInOrder(logOf(events).alarms).filter((alarm) => alarm.endedAt === null);
  const latest = run.last?.events.flatMap((event) => ('text' in event ? [event.text ?? ''] : 'reason' in event ? [event.reason] : [])) ?? [];
  return [
    status.doing, status.advice, ...latest,
    ...(resting(state.mode) ? [foldedOutcome(state, state.mode).text] : []),
    ...standing.flatMap(({ text, meaning, action }) => [text, meaning, action]),
  ];
}

const commands: readonly RunCommand['kind'][] = ['start', 'pause-now', 'pause-at-next-point', 'resume', 'abort', 'emergency-stop', 'acknowledge', 'finish-early', 'measure-remaining'];

function voyage(seed: number): { readonly unconfirmed: number; readonly modes: ReadonlySet<Mode>; readonly bad: readonly string[] } {
  const chance = RandomSource.named(seed, 'safe words');
  const below = (n: number): number => Math.floor(chance.uniform() * n);
  const run = new TestRun({ plan: testPlan({ guards: [{ id: 'hot', signal: 'rail-temperature-c', high: 30, level: 'trip' }, { id: 'warm', signal: 'meter-temperature-c', high: 25, level: 'hold' }], byItself: { holdS: 30 } }) }).start();
  const modes = new Set<Mode>();
  const bad: string[] = [];
  let unconfirmed = 0;
  const happen: readonly (() => void)[] = [
    () => (run.linkUp ? run.link('down') : run.link('up')),
    () => (run.bench.answer = (request) => (request.kind === 'make-safe' ? null : undefined)),
    () => (run.bench.answer = (request) => (request.kind === 'make-safe' ? { kind: 'refused', code: 'x', text: 'no' } : undefined)),
    () => (run.bench.answer = () => undefined),
    () => (run.bench.deadManWorks = !run.bench.deadManWorks),
    () => (run.bench.temperature = [21, 26, 31][below(3)] ?? 21),
    () => (run.bench.telemetrySilent = !run.bench.telemetrySilent),
    () => run.bench.latch('over-current'),
    () => run.bench.reset(`boot-${below(1000)}`),
    () => run.standStill(1 + below(10), below(2) === 0),
    () => void run.command({ kind: commands[below(commands.length)] ?? 'resume' } as RunCommand),
    () => void run.command({ kind: 'resume' }),
    () => void run.command({ kind: 'acknowledge' }),
  ];
  for (let i = 0; i < 60; i += 1) {
    happen[below(happen.length)]?.();
    for (let n = below(120); n >= 0; n -= 1) {
      run.pass();
      const { mode, safe } = run.engine.state;
      if ((run.last?.events.length ?? 0) === 0 && n > 0) continue;
      modes.add(mode);
      if (safe?.confirmed === true) continue;
      unconfirmed += 1;
      for (const text of texts(run)) if (callsSafe.test(text)) bad.push(`${mode}: ${text}`);
    }
  }
  return { unconfirmed, modes, bad };
}

/** Says that a bench is, was, or was not said to be safe: what only `safe-words.ts` may say. What will be done ("makes the bench safe") is none of it. */
const speaksOfSafety = /\b(is|are|was|were|been|stays?) (now |made |confirmed |not )*safe\b|\b(made|makes) (it|itself|its bench|themselves) safe\b|\b(not|never) confirmed safe\b|\bconfirm(s|ed)? (that )?.{0,20}safe\b|\bsafe (bench|state) (was|is|has)\b/i;
/** What protects a bench by itself is told as a promise, by the same file; here it is asked of the controller, or explains a setting of the plan. */
const mayExplain: readonly string[] = [
  'Proving that the controller makes itself safe when the host is silent.',
  'It was not shown that the controller makes itself safe when the host falls silent.',
  'The controller makes itself safe when it hears nothing for this long.',
];

const house = join(import.meta.dirname, '..', '..');

/** Every text of the product that a person may read: strings, templates (what is put in as three dots) and texts between tags. */
function* productTexts(): Generator<{ readonly file: string; readonly text: string }> {
  const inTemplates = (node: ts.Node): string => (ts.isTemplateExpression(node) ? node.head.text + node.templateSpans.map(({ literal }) => `...${literal.text}`).join('') : '');
  for (const room of ['app', 'main', 'renderer', 'firmware-protocol']) {
    for (const path of readdirSync(join(house, room), { recursive: true, encoding: 'utf8' })) {
      if (!/\.tsx?$/.test(path) || /\.test\.tsx?$|test-helper|\.d\.ts$/.test(path)) continue;
      const file = join(house, room, path);
      const texts: string[] = [];
      const walk = (node: ts.Node): void => {
        if (ts.isStringLiteralLike(node) || ts.isJsxText(node)) texts.push(node.text);
        else if (ts.isTemplateExpression(node)) texts.push(inTemplates(node));
        ts.forEachChild(node, walk);
      };
      walk(ts.createSourceFile(file, readFileSync(file, 'utf8'), ts.ScriptTarget.Latest, false, path.endsWith('x') ? ts.ScriptKind.TSX : ts.ScriptKind.TS));
      for (const text of texts) yield { file: relative(house, file), text: text.replaceAll(/\s+/g, ' ').trim() };
    }
  }
}

/** Words that the trade has not, in a sentence; names of kinds and codes, which are for good, are none. */
const ofOurOwn = /dead-man|\bheld against\b|\bstands? against\b/iu;
const isName = /^[a-z0-9-]+$/u;
/** What earlier versions wrote into journals, and the window shows in terms of the trade. */
const ofStoredTexts: readonly string[] = ['held against'];

describe('RUN-246', () => {
  it('no text of the product has a word that the trade has not', () => {
    const all = [...productTexts()];
    expect(all.filter(({ file, text }) => ofOurOwn.test(text) && !isName.test(text) && !(file === 'renderer/components/shown-text.ts' && ofStoredTexts.includes(text)))).toEqual([]);
    expect(all.some(({ text }) => /\bwatchdog\b/u.test(text))).toBe(true);
    expect(all.some(({ text }) => text === 'dead-man')).toBe(true);
  });
});

describe('RUN-170', () => {
  it('whatever the product says of the safety of a bench stands in safe-words.ts', () => {
    const all = [...productTexts()];
    const spoken = all.filter(({ text }) => speaksOfSafety.test(text) && !mayExplain.includes(text));
    expect(spoken.filter(({ file }) => file !== 'app/run/safe-words.ts')).toEqual([]);
    // It reads what it is to read.
    expect(spoken.length).toBeGreaterThan(5);
    expect(all.length).toBeGreaterThan(3000);
    expect(mayExplain.filter((known) => !all.some(({ text }) => text === known))).toEqual([]);
  });

  it('what counts as calling a bench safe', () => {
    for (const text of ['Paused; the bench is safe.', 'The bench was made safe.', 'The bench was confirmed safe before.', 'The controller has made itself safe.']) expect(text).toMatch(callsSafe);
    for (const text of ['The bench has NOT confirmed that it is safe', 'The bench did not confirm that it is safe.', 'Making the bench safe.']) expect(text).not.toMatch(callsSafe);
  });

  it('no text calls a bench safe that has not confirmed it', () => {
    const seen = Array.from({ length: 60 }, (_, seed) => voyage(seed));
    expect(seen.flatMap(({ bad }) => bad)).toEqual([]);
    // It has been everywhere, and often where the bench had not confirmed.
    expect(new Set(seen.flatMap(({ modes }) => [...modes]))).toEqual(new Set<Mode>(['ready', 'proving', 'measuring', 'making-safe', 'paused', 'held', 'tripped', 'ended'].filter((mode) => mode !== 'ready') as Mode[]));
    expect(seen.reduce((sum, { unconfirmed }) => sum + unconfirmed, 0)).toBeGreaterThan(1000);
  });
});
