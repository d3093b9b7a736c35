/**
 * What a larger resistance of the coil's circuit does to a dead time, told by the dead times at all voltages of an injector (RED-170): t0 = M + tau (-ln(1 - Vp / V))^(1/s) - tau_d ln(D / (D - V + 2 V)), in which M
 * stands for movements of the needle, which no resistance changes; the second for the current's rise to that which pulls the needle in, an exponential that eddy currents stretch; the third for its decay
 * into a clamp at D to ground. With R larger by a fraction Vp and the hold limit are larger by it, tau and tau_d smaller. Vp and s are tried over a grid, the rest is linear: every pair counts by how well it explains the
 * dead times (Bayesian model averaging: Hoeting et al. 1999, from memory), with what is believed before of M, tau and tau_d as three observations more.
 */
import { decayTau, releaseV, uDecay } from './sensitivity.ts';
import type { ByLogResistance } from './sensitivity.ts';

interface Known {
  /** V */
  readonly at: number;
  /** s, with the standard uncertainty by scatter. */
  readonly deadTime: number;
  readonly u: number;
}

/** Pull-in voltage over the lowest measured one: what opens there may be anything from far below it to nearly all of it. */
const pullInParts = [0.3, 0.38, 0.46, 0.54, 0.62, 0.7, 0.78, 0.86, 0.94];
/** Stretch of the current's rise: 1 an exponential, less with eddy currents. Injectors of many sizes (RED-141). */
const stretches = [0.8, 0.9, 1];
/** What coils stand off any such form by, relative to the dead time: injectors of many sizes (RED-141). */
const misfit = 0.004;
/**
 * A needle moves the more slowly the nearer its injector is to not opening, which more resistance brings about as less voltage does: so much more than the circuit by itself where the pull-in voltage is the supply's, and by the
 * square of their ratio less above it. Injectors of many sizes (RED-141). RED-173
 */
const ofNeedle = { value: 0.3, u: 0.08 };

/**
 * Believed before: closing takes 0.07 ms longer than opening far from where an injector does not open any more, to 0.13 ms; L/R is a few milliseconds at the most; the decay is that of RED-61. Injectors of many
 * sizes (RED-141).
 */
const believed = [
  { value: -0.7e-4, u: 1.3e-4 },
  { value: 1.6e-3, u: 2e-3 },
  { value: decayTau, u: uDecay * decayTau },
] as const;

/** At the voltages of a cell's injector, for one pull-in voltage and stretch: the rise for tau = 1 s, what R does to it, and the square of pull-in voltage over supply. */
interface Form {
  readonly rise: readonly number[];
  readonly ofRise: readonly number[];
  readonly near: readonly number[];
}

/** The decay for tau_d = 1 s, which shortens the dead time, and what R does to it; the same for all forms. */
interface Grid {
  readonly forms: readonly Form[];
  readonly decay: readonly number[];
  readonly ofDecay: readonly number[];
}

function gridOf(voltages: readonly number[], clampV: number): Grid {
  const lowest = Math.min(...voltages);
  const forms = stretches.flatMap((stretch) =>
    pullInParts.map((part): Form => {
      const parts = voltages.map((v) => (part * lowest) / v);
      const rise = parts.map((p) => (-Math.log1p(-p)) ** (1 / stretch));
      // tau goes by 1 / R, Vp by R.
      const ofRise = parts.map((p, i) => (rise[i] ?? 0) * (p / (1 - p) / stretch / -Math.log1p(-p) - 1));
      return { rise, ofRise, near: parts.map((p) => p * p) };
    }),
  );
  const decay = voltages.map((v) => Math.log(clampV / (clampV - v + releaseV)));
  return { forms, decay, ofDecay: voltages.map((v, i) => (decay[i] ?? 0) + releaseV / (clampV - v + releaseV)) };
}

/** Of one form: its logarithmic weight, the squares of what it misses all observations by, and tau and tau_d with their covariance. */
interface Explained {
  readonly logDeterminant: number;
  readonly squares: number;
  readonly b1: number;
  readonly b2: number;
  readonly v11: number;
  readonly v12: number;
  readonly v22: number;
}

function explainedBy({ rise }: Form, { decay }: Grid, known: readonly Known[]): Explained {
  const [m, t, d] = believed;
  // Normal equations of M, tau and tau_d: prior, then dead times.
  let [g00, g01, g02, g11, g12, g22] = [1 / m.u ** 2, 0, 0, 1 / t.u ** 2, 0, 1 / d.u ** 2];
  let [y0, y1, y2] = [m.value * g00, t.value * g11, d.value * g22];
  for (let i = 0; i < known.length; i += 1) {
    const { deadTime, u } = known[i] as Known;
    const weight = 1 / (u * u + (misfit * deadTime) ** 2);
    const [a, b] = [rise[i] as number, -(decay[i] as number)];
    g00 += weight;
    g01 += weight * a;
    g02 += weight * b;
    g11 += weight * a * a;
    g12 += weight * a * b;
    g22 += weight * b * b;
    y0 += weight * deadTime;
    y1 += weight * deadTime * a;
    y2 += weight * deadTime * b;
  }
  const [c00, c01, c02] = [g11 * g22 - g12 * g12, g02 * g12 - g01 * g22, g01 * g12 - g02 * g11];
  const determinant = g00 * c00 + g01 * c01 + g02 * c02;
  const [v00, v01, v02] = [c00 / determinant, c01 / determinant, c02 / determinant];
  const [v11, v12, v22] = [(g00 * g22 - g02 * g02) / determinant, (g01 * g02 - g00 * g12) / determinant, (g00 * g11 - g01 * g01) / determinant];
  const [b0, b1, b2] = [v00 * y0 + v01 * y1 + v02 * y2, v01 * y0 + v11 * y1 + v12 * y2, v02 * y0 + v12 * y1 + v22 * y2];
  let squares = ((b0 - m.value) / m.u) ** 2 + ((b1 - t.value) / t.u) ** 2 + ((b2 - d.value) / d.u) ** 2;
  for (let i = 0; i < known.length; i += 1) {
    const { deadTime, u } = known[i] as Known;
    const [a, b] = [rise[i] as number, -(decay[i] as number)];
    squares += (deadTime - b0 - b1 * a - b2 * b) ** 2 / (u * u + (misfit * deadTime) ** 2);
  }
  return { logDeterminant: Math.log(determinant), squares, b1, b2, v11, v12, v22 };
}

/** dt0/dlnR at the place `i` of the voltages as one form has it, with its variance; `needle`: what a needle that is as slow again near its pull-in voltage would add. */
function effectOf({ b1, b2, v11, v12, v22 }: Explained, { ofRise, near }: Form, { ofDecay }: Grid, i: number): { readonly value: number; readonly variance: number; readonly needle: number } {
  const [p, q] = [ofRise[i] as number, ofDecay[i] as number];
  const [circuit, nearness] = [p * b1 + q * b2, near[i] as number];
  const slower = 1 + ofNeedle.value * nearness;
  return { value: slower * circuit, variance: slower * slower * (p * p * v11 + 2 * p * q * v12 + q * q * v22), needle: nearness * circuit };
}

/** Where an injector nears its pull-in voltage forms part by more than injectors do: the less of that counts, and never less than this. Injectors of many sizes. RED-179 */
const leastApart = 0.55;

/** So many grids are kept. */
const keptGrids = 64;
/** By clamp and voltages: a run has few different ones, and its forms are the same in every reduction of it. RED-134 */
const grids = new Map<string, Grid>();

function gridAt(voltages: readonly number[], clampV: number): Grid {
  const key = `${clampV} ${voltages.join(' ')}`;
  const before = grids.get(key);
  if (before !== undefined) return before;
  const grid = gridOf(voltages, clampV);
  if (grids.size >= keptGrids) grids.clear();
  grids.set(key, grid);
  return grid;
}

/**
 * dt0/dlnR at each voltage of `known`, two or more different ones, in their order; `clampV`: switched terminal to ground, V, above all of them. Injectors that no form explains say it
 * worse, after Birge.
 */
export function effectsOfResistance(clampV: number): (known: readonly Known[]) => readonly ByLogResistance[] {
  return (known) => {
    const voltages = known.map((k) => k.at);
    const grid = gridAt(voltages, clampV);
    const explained = grid.forms.map((form) => explainedBy(form, grid, known));
    const scale = Math.max(1, Math.min(...explained.map((e) => e.squares)) / (known.length - 1));
    const logs = explained.map((e) => (-e.squares / scale - e.logDeterminant) / 2);
    const most = Math.max(...logs);
    const weights = logs.map((log) => Math.exp(log - most));
    const all = weights.reduce((sum, w) => sum + w, 0);
    return voltages.map((_, i) => {
      let [mean, squares, slower, nearness] = [0, 0, 0, 0];
      for (let j = 0; j < explained.length; j += 1) {
        const { value, variance, needle } = effectOf(explained[j] as Explained, grid.forms[j] as Form, grid, i);
        const part = (weights[j] ?? 0) / all;
        mean += part * value;
        squares += part * (variance * scale + value * value);
        slower += part * needle;
        nearness += part * ((grid.forms[j] as Form).near[i] as number);
      }
      const apart = Math.max(leastApart, 1 - nearness) * Math.sqrt(Math.max(0, squares - mean * mean));
      return { value: mean, u: Math.hypot(apart, ofNeedle.u * slower) };
    });
  };
}
