/**
 * `npm run show -- error-rates [N] [SEED] [PART]`: how often what is said of measurements is wrong. Each row draws N cases (maps and meter checks
 * fewer) in which the truth is known, asks the product, and counts; ± is the binomial 95 % of the count. Rows with a limit are claims: one that
 * is beyond it by more than four binomial standard deviations does not hold. The others show what the method does outside its assumptions.
 */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { chanceOfSignal } from '../../app/charts/chance.ts';
import { individualsChart } from '../../app/charts/individuals-chart.ts';
import { newestOf } from '../../app/charts/newest.ts';
import { chartRules, type RuleSet } from '../../app/charts/rules.ts';
import { meterHistory } from '../../app/meter-check/in-force.ts';
import { parseMeterCheck, type MeterCheck } from '../../app/meter-check/meter-check.ts';
import { compareWith } from '../../app/meter-check/compare.ts';
import { evaluateMeterCheck } from '../../app/meter-check/evaluate.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import { fitCellLine } from '../../app/reduce/line.ts';
import { reduceRun } from '../../app/reduce/reduce.ts';
import { drawErrors, noScatter, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../../app/reduce/synthetic.test-helper.ts';
import { drawnJob, type JobWish } from '../../app/results/recognise.test-helper.ts';
import { identityQuestions, printedRun, type IdentityQuestion } from '../../app/results/recognise.ts';
import { driftOf, type DriftVerdict } from '../../app/results/drift.ts';
import type { WindowMass } from '../../app/results/run-results.ts';
import { normals } from '../../app/statistics/normals.ts';
import { searchOutliers } from '../../app/statistics/outlier-search.ts';
import { mapTables } from '../../app/tables/map.ts';
import { sampleEquipment } from '../builders/in-process.ts';

export interface Row {
  readonly method: string;
  readonly data: string;
  readonly what: 'false alarm' | 'missed' | 'held' | 'mean run length' | 'said';
  readonly rate: number;
  /** Binomial standard deviation of the rate. */
  readonly sd: number;
  /** The most that is claimed (of `held`: the least); null: no claim. */
  readonly limit: number | null;
}

interface Chance {
  readonly normal: () => number;
  readonly uniform: () => number;
}

/** `n` values of which neighbours are correlated so (1: a random walk with steps of one standard deviation). */
function series({ normal }: Chance, n: number, correlation: number): number[] {
  let last = correlation < 1 ? normal() : 0;
  return Array.from({ length: n }, (_, i) => {
    if (i > 0) last = correlation < 1 ? correlation * last + Math.sqrt(1 - correlation ** 2) * normal() : last + normal();
    return last;
  });
}

const row = (method: string, data: string, what: Row['what'], count: number, of: number, limit: number | null = null): Row => {
  const rate = of === 0 ? 0 : count / of;
  // The limit's own, where it is one: a rate of nothing has no deviation.
  const p = limit ?? rate;
  return { method, data, what, rate, sd: of === 0 ? 0 : Math.sqrt(Math.max(p * (1 - p), 0.25 / of) / of), limit };
};

const counted = (cases: number, holds: (i: number) => boolean): number => Array.from({ length: cases }, (_, i) => holds(i)).filter(Boolean).length;

function outliers(n: number, chance: Chance): Row[] {
  const runs = Math.max(20, Math.round(n / 10));
  const groups = (count: number, of: number, correlation = 0): number[][] => Array.from({ length: count }, () => series(chance, of, correlation));
  const alarms = (data: string, count: number, of: number, correlation: number, cases: number, limit: number | null): Row =>
    row('outliers', data, 'false alarm', counted(cases, () => searchOutliers(groups(count, of, correlation), 0.05).named.length > 0), cases, limit);
  const misses = (count: number, of: number, share: number, far: number): Row => {
    let [spoilt, missed] = [0, 0];
    for (let i = 0; i < Math.max(5, Math.round(runs / 4)); i += 1) {
      const all = groups(count, of);
      const bad = new Set<string>();
      all.forEach((group, g) => {
        group.forEach((value, k) => {
          if (chance.uniform() >= share) return;
          group[k] = value + (chance.uniform() < 0.5 ? far : -far);
          bad.add(`${g} ${k}`);
        });
      });
      const named = new Set(searchOutliers(all, 0.05).named.flatMap((o) => o.indices.map((k) => `${o.group} ${k}`)));
      spoilt += bad.size;
      missed += [...bad].filter((b) => !named.has(b)).length;
    }
    return row('outliers', `${count} groups of ${of}, ${100 * share} % of windows ${far} sd off`, 'missed', missed, spoilt, far >= 10 ? 0.1 : null);
  };
  return [
    alarms('white, 480 groups of 3, in any run', 480, 3, 0, runs, 0.05),
    alarms('white, 400 pairs, in any run', 400, 2, 0, runs, 0.05),
    alarms('thin: white, 4 groups of 3', 4, 3, 0, n, 0.05),
    alarms('thin: white, 8 pairs', 8, 2, 0, n, 0.05),
    alarms('correlated 0.8 inside groups, 100 of 3', 100, 3, 0.8, runs, null),
    ...[0.02, 0.05, 0.08].map((share) => misses(480, 3, share, 30)),
    misses(480, 3, 0.05, 10),
    misses(400, 2, 0.0125, 30),
    misses(480, 3, 0.02, 5),
  ];
}

/** Mean number of points to the first signal where centre and standard deviation are known, of a process that stands so far off. */
function runLength(rules: RuleSet, shift: number, runs: number, { normal }: Chance): Row {
  const lengths = Array.from({ length: runs }, () => {
    const z: number[] = [];
    for (;;) {
      z.push(normal() + shift);
      if (chartRules[rules].some((r) => z.length >= r.fewest && r.signals(z.slice(-r.length)))) return z.length;
    }
  });
  const mean = lengths.reduce((a, b) => a + b, 0) / runs;
  const sd = Math.sqrt(lengths.reduce((sum, l) => sum + (l - mean) ** 2, 0) / (runs - 1) / runs);
  return { method: `charts, ${rules}`, data: `known limits, ${shift} sd off`, what: 'mean run length', rate: mean, sd, limit: null };
}

function charts(n: number, chance: Chance): Row[] {
  const rows: Row[] = [runLength('limits', 0, n, chance), runLength('western-electric', 0, n, chance), runLength('western-electric', 1, n, chance)];
  for (const rules of ['limits', 'western-electric', 'nelson'] as const) {
    for (const [runs, correlation] of [[20, 0], [40, 0], [40, 0.5], [10, 0]] as const) {
      const settings = { rules, baseline: Math.min(20, runs) };
      const signals = (): boolean => {
        const chart = individualsChart(series(chance, runs, correlation), settings);
        return chart.kind === 'chart' && chart.signals.length > 0;
      };
      const said = chanceOfSignal(settings, runs, correlation);
      const found = row(`charts, ${rules}`, `${correlation === 0 ? 'white' : `correlated ${correlation}`}, ${runs} runs (said: ${(100 * said).toFixed(0)} %)`, 'false alarm', counted(n, signals), n);
      // What is said was drawn from a thousand histories itself.
      rows.push({ ...found, sd: Math.hypot(Math.sqrt((said * (1 - said)) / n), Math.sqrt((said * (1 - said)) / 1000)), limit: said });
    }
  }
  for (const runs of [5, 7, 12, 19]) {
    rows.push(row('newest run', `thin: white, ${runs} runs`, 'false alarm', counted(n, () => newestOf(series(chance, runs, 0))?.outside === true), n, 0.01));
    rows.push(row('newest run', `thin: ${runs} runs, newest 5 sd off`, 'missed', counted(n, () => newestOf(series(chance, runs, 0).map((v, i, all) => (i === all.length - 1 ? v + 5 : v)))?.outside !== true), n));
  }
  rows.push(row('newest run', 'correlated 0.5, 12 runs', 'false alarm', counted(n, () => newestOf(series(chance, 12, 0.5))?.outside === true), n));
  return rows;
}

function drift(n: number, chance: Chance): Row[] {
  const verdictOf = (values: readonly number[]): DriftVerdict => {
    const masses = values.map((v, i) => ({ point: i, attempt: 1, at: { role: 'reference' }, mass: 1e-5 * (1 + 1e-3 * v), why: '', uRandom: 0, dofRandom: Infinity }) as unknown as WindowMass);
    const { trend } = driftOf(masses, masses.map(({ point, attempt }) => ({ point, attempt, time: 600 * point })));
    if (trend.kind !== 'drift') throw new Error(trend.text);
    return trend.verdict;
  };
  const rows: Row[] = [];
  for (const points of [3, 5, 10, 20]) {
    for (const [name, correlation] of [['white', 0], ['correlated 0.5', 0.5], ['correlated 0.8', 0.8], ['random walk', 1]] as const) {
      const verdicts = Array.from({ length: n }, () => verdictOf(series(chance, points, correlation)));
      const share = (said: DriftVerdict): number => verdicts.filter((v) => v === said).length;
      const data = `${points <= 5 ? 'thin: ' : ''}${name}, ${points} points`;
      rows.push(row('drift, without a condition', data, 'false alarm', share('drift'), n, 0.05));
      rows.push(row('drift, if independent', data, 'false alarm', share('drift-if-independent'), n, correlation === 0 ? 0.05 : null));
      if (correlation === 1) rows.push(row('drift', `${data}: wandering noticed`, 'said', share('wanders'), n));
    }
    const trended = Array.from({ length: n }, () => verdictOf(series(chance, points, 0).map((v, i) => v + (5 * i) / (points - 1))));
    rows.push(row('drift, with or without', `5 sd over ${points} points`, 'missed', trended.filter((v) => v === 'none' || v === 'wanders').length, n));
  }
  const bump = Array.from({ length: n }, () => verdictOf(series(chance, 20, 0).map((v, i) => v + (i >= 8 && i < 12 ? 10 : 0))));
  rows.push(row('drift', '10 sd off in the middle, 20 points', 'missed', bump.filter((v) => v === 'none').length, n, 0.05));
  return rows;
}

/** Places in the run of the repeats of each of `n` widths: side by side, widths up and down in turn, or in an order drawn anew for each repeat. */
function placesOf(order: 'nested' | 'alternating' | 'shuffled', n: number, replicates: number, { uniform }: Chance): readonly (readonly number[])[] {
  const widths = Array.from({ length: n }, (_, i) => i);
  const rounds = Array.from({ length: replicates }, (_, r) => {
    if (order === 'shuffled') return widths.map((w) => ({ w, by: uniform() })).sort((a, b) => a.by - b.by).map(({ w }) => w);
    return r % 2 === 0 ? widths : widths.toReversed();
  });
  return widths.map((w) => rounds.map((round, r) => (order === 'nested' ? w * replicates + r : r * n + round.indexOf(w))));
}

function lackOfFit(n: number, chance: Chance): Row[] {
  const said = (replicates: number, correlation: number, bend: number, order: 'nested' | 'alternating' | 'shuffled' = 'nested'): number =>
    counted(n, () => {
      const widths = [2, 3, 4, 5, 6, 8, 10, 12];
      const noise = series(chance, widths.length * replicates, correlation);
      const places = placesOf(order, widths.length, replicates, chance);
      const observations = widths.flatMap((ms, w) =>
        (places[w] ?? []).map((place) => ({ width: ms * 1e-3, mass: 4e-6 * (ms - 1) + 1e-8 * ((noise[place] ?? 0) + bend * ((ms - 7) / 5) ** 2), variance: 1e-16, weight: 1 })),
      );
      return fitCellLine(observations).lackOfFit.significant;
    });
  return [
    row('lack of fit', 'white, straight, 8 widths of 3', 'false alarm', said(3, 0, 0), n, 0.05),
    row('lack of fit', 'thin: white, straight, 8 widths of 2', 'false alarm', said(2, 0, 0), n, 0.05),
    // Of a plan that names no order.
    row('lack of fit', 'correlated 0.5 along the run, widths shuffled, straight, 8 of 3', 'false alarm', said(3, 0.5, 0, 'shuffled'), n, 0.05),
    row('lack of fit', 'correlated 0.8 along the run, widths shuffled, straight, 8 of 3', 'false alarm', said(3, 0.8, 0, 'shuffled'), n, 0.05),
    row('lack of fit', 'correlated 0.5 along the run, widths up and down, straight, 8 of 3', 'false alarm', said(3, 0.5, 0, 'alternating'), n, 0.05),
    row('lack of fit', 'correlated 0.5 along the run, repeats side by side, straight, 8 of 3', 'false alarm', said(3, 0.5, 0), n),
    row('lack of fit', 'bent by 3 sd at the ends, 8 of 3', 'missed', n - said(3, 0, 3), n),
    row('lack of fit', 'bent by 1 sd at the ends, 8 of 3', 'missed', n - said(3, 0, 1), n),
  ];
}

/** The sample check as a meter with this ratio would have given it: with the density error of its budget, scatter of runs, and one run off. */
function meterChecks(n: number, chance: Chance): Row[] {
  const { meter } = sampleEquipment();
  const record = sampleEquipment();
  const parsed = parseMeterCheck(JSON.parse(readFileSync(join(import.meta.dirname, '../../main/samples/meter-check.json'), 'utf8')));
  if (!parsed.ok) throw new Error('the sample check is good');
  const evaluatedOf = (check: MeterCheck) => {
    const evaluated = evaluateMeterCheck(check);
    if (evaluated.kind !== 'evaluated') throw new Error(evaluated.text);
    return evaluated;
  };
  const plain = compareWith({ meter, by: null }, meter, parsed.check, evaluatedOf(parsed.check)).deviations.map((d) => 1 + d.percent / 100);
  const own = evaluatedOf(parsed.check);
  const made = (ratio: number, density: number, { scatter = 2e-4, spoilt = 0, change = {} }: { readonly scatter?: number; readonly spoilt?: number; readonly change?: Partial<MeterCheck> } = {}): MeterCheck => ({
    ...parsed.check,
    ...change,
    flowRates: parsed.check.flowRates.map(({ runs }, r) => ({
      runs: runs.map((run, k) => {
        const mean = own.rates[r]?.kFactor.value ?? 1;
        // First to what the record says, then to what is asked for.
        const factor = (((plain[r] ?? 1) * (own.rates[r]?.runs[k]?.kFactor ?? mean)) / mean / ratio) * (1 + density + scatter * chance.normal() + (r === 1 && k === 1 ? spoilt : 0));
        return { ...run, endG: run.startG + (run.endG - run.startG) * factor };
      }),
    })),
  });
  const verdictOf = (check: MeterCheck) => compareWith({ meter, by: null }, meter, check, evaluatedOf(check)).verdict;
  const cases = Math.max(50, Math.round(n / 2));
  const u = parsed.check.fluid.densityUncertaintyPercent / 100;
  const share = (verdicts: readonly string[], said: string): number => verdicts.filter((v) => v === said).length;
  const at = (ratio: number, options = {}) => Array.from({ length: cases }, () => verdictOf(made(ratio, u * chance.normal(), options)));
  const [same, drifted, limit] = [at(1), at(1.006), at(1.003)];
  const second = Array.from({ length: cases }, () => {
    const density = u * chance.normal();
    const later = { certificate: { number: 'LATER', date: '2026-06-01', validUntil: '2099-12-31' } };
    return meterHistory([{ no: 1, check: made(1, density, { scatter: 1e-4 }) }, { no: 2, check: made(1, density, { scatter: 1e-4, change: { ...later, purpose: 'verification' } }) }], record, '2026-07-01');
  });
  const first = second.filter((h) => h.entries[0]?.effect === 'came-into-force');
  const ignorant = Array.from({ length: cases }, () => meterHistory([{ no: 1, check: made(1, 0, { change: { evaporation: { gramsPerMinute: 0.002, uncertaintyGramsPerMinute: 0.5 } } }) }], record, '2026-07-01'));
  return [
    row('meter check', 'unchanged meter: called drifted', 'false alarm', share(same, 'outside'), cases, 0.025),
    row('meter check', 'unchanged meter, against a certificate: undecided', 'said', share(same, 'undecided'), cases),
    row('meter check', 'unchanged meter, against a check of the same lot: not confirmed', 'missed', first.filter((h) => h.entries[1]?.effect !== 'confirmed').length, first.length, 0.05),
    row('meter check', 'drift just at the limit: called within', 'missed', share(limit, 'within'), cases, 0.025),
    row('meter check', 'drift of twice the limit: called within', 'missed', share(drifted, 'within'), cases, 0.001),
    row('meter check', 'drift of twice the limit: not called drifted', 'missed', cases - share(drifted, 'outside'), cases),
    row('meter check', 'one run of nine 0.25 % off: not noticed', 'missed', cases - share(at(1, { scatter: 1e-4, spoilt: 2.5e-3 }), 'not-repeatable'), cases, 0.05),
    row('meter check', 'good runs: called not repeatable', 'false alarm', share(at(1, { scatter: 1e-4 }), 'not-repeatable'), cases, 0.01),
    row('meter check', 'knows nothing (evaporation ± 0.5 g/min): came into force', 'false alarm', ignorant.filter((h) => h.inForce.kind === 'in-force').length, cases, 0),
  ];
}

/** Dead times a + tau ln(V / (V - Vp)) with Vp anywhere between 0.3 and 0.8 of the lowest voltage, told from few voltages. */
function maps(n: number, chance: Chance): Row[] {
  const cases = Math.max(20, Math.round(n / 8));
  const scatter = { ...noScatter, relative: 5e-4, width: 3e-7 };
  return ([[[10, 14], [11, 12, 16]], [[10, 12, 14], [11, 13, 16]], [[9, 10.5, 12, 14, 16], [8.5, 9.7, 13]]] as const).flatMap(([measured, asked]) => {
    const plan = syntheticPlan({ voltageV: [...measured], widthMs: [3, 5, 8, 10], replicates: 3 }, 1);
    const points = expandPlan(plan);
    const held = asked.map(() => 0);
    const told = asked.map(() => 0);
    for (let i = 0; i < cases; i += 1) {
      const pullIn = measured[0] * (0.3 + 0.5 * chance.uniform());
      const truth = (v: number): number => 0.0002 + 0.0009 * Math.log(v / (v - pullIn));
      const errors = drawErrors(syntheticEquipment, chance.normal);
      const injector = { ...syntheticInjector(0), deadTime: (v: number) => truth(v) };
      const attempts = points.map((point) => ({ point: point.index, attempt: 1, window: syntheticWindow(point, injector, plan, syntheticEquipment, errors, scatter, chance.normal) }));
      const [table] = mapTables(reduceRun({ plan, equipment: syntheticEquipment, points, attempts }), 'dead-time', { voltages: asked, pressures: [400e3] });
      asked.forEach((v, j) => {
        const cell = table?.cells[j]?.[0];
        if (cell?.kind !== 'value') return;
        told[j] = (told[j] ?? 0) + 1;
        if (Math.abs(cell.result.value - truth(v)) <= cell.result.expanded) held[j] = (held[j] ?? 0) + 1;
      });
    }
    return asked.map((v, j) => row('maps', `${measured.length < 4 ? 'thin: ' : ''}dead time at ${v} V from ${measured.join(', ')} V`, 'held', held[j] ?? 0, told[j] ?? 0, 0.95));
  });
}

const parts: Readonly<Record<string, (n: number, chance: Chance) => Row[]>> = { outliers, charts, drift, 'lack of fit': lackOfFit, 'meter checks': meterChecks, maps, recognised };

/** Jobs of six injectors of one type at two visits; counted by job where nothing is exchanged, by injector where it is. */
function recognised(n: number, { normal }: Chance): Row[] {
  const questions = (wish: JobWish): readonly IdentityQuestion[] => {
    const { first, second } = drawnJob(wish, normal);
    return identityQuestions(printedRun(second), [printedRun(first)]);
  };
  const cases = Math.max(20, Math.round(n / 5));
  const falseOnes = (data: string, wish: JobWish, limit: number | null = null): Row =>
    row('recognised', data, 'false alarm', counted(cases, () => questions({ really: [0, 1, 2, 3, 4, 5], ...wish }).length > 0), cases, limit);
  /** The third has the number of the fifth, which is not here. */
  const mistyped = (data: string, wish: JobWish, limit: number | null = null): Row =>
    row('recognised', data, 'missed', counted(cases, () => !questions({ ...wish, really: [0, 1, 4] }).some(({ serialNumber, like }) => serialNumber === 'S-3' && like === 'S-5')), cases, limit);
  const missed = (data: string, wish: JobWish, limit: number | null = null): Row => {
    const found = Array.from({ length: cases }, () => questions({ ...wish, really: [1, 0, 2, 3, 4, 5] })).flat();
    const right = found.filter(({ serialNumber, like }) => `${serialNumber} ${like}` === 'S-1 S-2' || `${serialNumber} ${like}` === 'S-2 S-1').length;
    return row('recognised', data, 'missed', 2 * cases - right, 2 * cases, limit);
  };
  const named = (data: string, wish: JobWish, limit: number | null = null): Row => {
    const found = Array.from({ length: cases }, () => questions({ ...wish, really: [1, 0, 2, 3, 4, 5] })).flat();
    return row('recognised', data, 'false alarm', found.filter(({ serialNumber, like }) => !['S-1 S-2', 'S-2 S-1'].includes(`${serialNumber} ${like}`)).length, found.length, limit);
  };
  return [
    falseOnes('nothing exchanged, spread 1 %, little wear', {}, 0.01),
    falseOnes('nothing exchanged, spread 1 %, worn by 0.6 % and 12 us', { wear: 6 }, 0.03),
    falseOnes('nothing exchanged, alike to 0.3 %, little wear', { spread: 0.003 }, 0.01),
    falseOnes('nothing exchanged, alike to 0.3 %, worn by 0.6 % and 12 us', { spread: 0.003, wear: 6 }),
    falseOnes('nothing exchanged, spread 1 %, worn by 3 % and 60 us', { wear: 30 }, 0.02),
    falseOnes('thin: two voltages, nothing exchanged, worn by 0.6 % and 12 us', { wear: 6, thin: true }, 0.03),
    falseOnes('half of a job, nothing mistyped, little wear', { really: [0, 1, 2] }, 0.01),
    falseOnes('half of a job, nothing mistyped, worn by 0.6 % and 12 us', { really: [0, 1, 2], wear: 6 }),
    mistyped('one mistyped, spread 1 %, little wear', {}),
    mistyped('one mistyped, spread 2 %, little wear', { spread: 0.02 }, 0.25),
    missed('two exchanged, spread 1 %, little wear', {}, 0.25),
    missed('two exchanged, spread 2 %, little wear', { spread: 0.02 }, 0.1),
    missed('two exchanged, alike to 0.3 %, little wear', { spread: 0.003 }),
    missed('two exchanged, spread 1 %, worn by 0.6 % and 12 us', { wear: 6 }),
    missed('thin: two voltages, two exchanged, spread 2 %, little wear', { spread: 0.02, thin: true }),
    named('two exchanged, spread 1 %, little wear: another one named', {}, 0.03),
  ];
}

/** The table, in the same order every time. */
export function errorRates(n: number, seed: number, only: string | null = null): Row[] {
  return Object.entries(parts).flatMap(([name, part], i) => {
    if (only !== null && name !== only) return [];
    const normal = normals(1 + ((seed * 7919 + i * 104_729) % 2_147_483_645));
    let state = 1 + ((seed * 104_729 + i) % 2_147_483_645);
    const uniform = (): number => (state = (state * 48_271) % 2_147_483_647) / 2_147_483_647;
    return part(n, { normal, uniform });
  });
}

/** Not farther beyond what is claimed than four binomial standard deviations. */
export function keeps({ what, rate, sd, limit }: Row): boolean {
  if (limit === null) return true;
  return what === 'held' ? rate >= limit - 4 * sd : rate <= limit + 4 * sd;
}

function lineOf(r: Row): string {
  const figure = r.what === 'mean run length' ? `${r.rate.toFixed(1)} ± ${(1.96 * r.sd).toFixed(1)}` : `${(100 * r.rate).toFixed(1)} ± ${(196 * r.sd).toFixed(1)} %`;
  const claim = r.limit === null ? '' : `  claimed: ${r.what === 'held' ? 'at least' : 'at most'} ${(100 * r.limit).toFixed(1)} %${keeps(r) ? '' : '  DOES NOT HOLD'}`;
  return `${r.method.padEnd(27)} ${r.data.padEnd(64)} ${r.what.padEnd(15)} ${figure.padStart(16)}${claim}`;
}

export function showErrorRates(args: readonly string[]): Promise<boolean> {
  const [n, seed, only] = [Number(args[0] ?? 1000), Number(args[1] ?? 1), args.slice(2).join(' ')];
  if (!Number.isInteger(n) || n < 50 || !Number.isInteger(seed) || seed < 0 || (only !== '' && !(only in parts))) throw new Error(`error-rates [cases, at least 50] [seed] [one of ${Object.keys(parts).join(', ')}]`);
  const rows = errorRates(n, seed, only === '' ? null : only);
  for (const r of rows) process.stdout.write(`${lineOf(r)}\n`);
  process.stdout.write('breakpoint                  none is stated of any data (app/results/README.md says why)\n');
  return Promise.resolve(rows.every(keeps));
}
