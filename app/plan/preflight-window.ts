/**
 * What no window of a set point can ever hold, however often it is measured: too few meter edges (RUN-60), or too few telemetry frames
 * to tell the flow of its halves (RUN-51, RUN-67). An expected flow is an estimate, so what is refused here is impossible at half and
 * at twice of it as well; what is only unlikely is a warning.
 */
import type { Equipment } from '../equipment/equipment.ts';
import { seconds } from '../quantities/quantity.ts';
import type { KilogramsPerSecond } from '../quantities/quantity.ts';
import type { PreflightLine } from './preflight-line.ts';
import { expectedEdgeRate } from './estimate.ts';
import type { SetPoint } from './estimate.ts';
import type { ExpectedFlow } from './flow-of-type.ts';
import type { Plan } from './plan.ts';
import { typicalDeadTime } from './typical.ts';
import { pairEdges } from './zero.ts';

/** How far the flow of an injector may be from the expected one: common practice, no source. */
const flowFactor = 2;
/** As in app/run/window.ts (RUN-51). */
const maxParts = 10;
const minRevolutions = 4;
const edgesOfAPart = 4;

type Finding = Omit<PreflightLine, 'rule'>;

/** PRE-51, PRE-52. First looks are judged by other rules (RUN-135) and are left out. */
export function windowFindings(plan: Plan, setPoints: readonly SetPoint[], equipment: Equipment, flowOf: ExpectedFlow): Readonly<Record<'PRE-51' | 'PRE-52', Finding>> {
  const judged = setPoints.filter(({ role }) => role !== 'look' && role !== 'zero');
  return { 'PRE-51': edges(plan, judged, equipment, flowOf), 'PRE-52': frames(plan, judged, equipment, flowOf) };
}

function edges(plan: Plan, setPoints: readonly SetPoint[], equipment: Equipment, flowOf: ExpectedFlow): Finding {
  const { minEdges, maxS } = plan.window;
  const most = (point: SetPoint): number => {
    // Open for the whole pulse, and no longer than its period.
    const width = seconds(Math.min(point.width, point.period) + typicalDeadTime(point.voltage));
    return maxS * expectedEdgeRate((flowFactor * flowOf(point.injector)) as KilogramsPerSecond, equipment, { ...point, width });
  };
  const never = setPoints.filter((point) => most(point) < pairEdges(minEdges, point.role));
  const [first] = never;
  if (first === undefined) return { result: 'pass', text: `No set point is out of reach of its ${minEdges} meter edges within ${maxS} s.` };
  return {
    result: 'refuse',
    text:
      `${countOf(never, setPoints)} can never give ${minEdges} meter edges within ${maxS} s: at ${first.voltage} V and ${ms(first.width)} ms it is ${Math.floor(most(first))} at most, ` +
      `even if the injector passes twice the expected flow and is open for the whole pulse. Allow a longer window.maxS, ask for fewer window.minEdges, or make the period shorter.`,
  };
}

/** Frames of a window after its first one, at an edge rate: the fewest that its edges and its shortest time take, and the most that its longest time holds. */
function framesAfterFirst({ window, link }: Plan, minEdges: number, rate: number): { readonly fewest: number; readonly most: number } {
  // Edges are told from the second frame on.
  const forEdges = 1 + Math.ceil((minEdges * link.telemetryHz) / rate);
  const most = Math.ceil(window.maxS * link.telemetryHz);
  return { fewest: Math.min(Math.max(Math.ceil(window.minS * link.telemetryHz), forEdges), most), most };
}

/** Parts that the flow is told in after so many frames: at least, where the edges happen to be whole revolutions, and most often. Each ends with a frame of its own. */
function partsOf({ link }: Plan, afterFirst: number, minEdges: number, rate: number, edgesPerRevolution: number): { readonly least: number; readonly usual: number } {
  const all = Math.max(minEdges, Math.floor(((afterFirst - 1) * rate) / link.telemetryHz));
  const byEdges = Math.max(2, Math.min(maxParts, Math.floor(all / edgesOfAPart)));
  const byRevolutions = Math.min(maxParts, Math.max(minRevolutions, Math.ceil(minEdges / edgesPerRevolution)));
  return { least: Math.min(byRevolutions, byEdges), usual: byEdges };
}

function frames(plan: Plan, setPoints: readonly SetPoint[], equipment: Equipment, flowOf: ExpectedFlow): Finding {
  const { edgesPerRevolution } = equipment.meter;
  const { telemetryHz } = plan.link;
  const missing = (point: SetPoint, rate: number, which: 'least' | 'usual'): boolean => {
    const minEdges = pairEdges(plan.window.minEdges, point.role);
    const { fewest, most } = framesAfterFirst(plan, minEdges, rate);
    // It goes on until it can be judged (RUN-47).
    for (let n = fewest; n <= most; n += 1) if (n - 1 >= partsOf(plan, n, minEdges, rate, edgesPerRevolution)[which]) return false;
    return true;
  };
  const rated = setPoints.map((point) => ({ point, rate: expectedEdgeRate(flowOf(point.injector), equipment, point) })).filter(({ rate }) => rate > 0);
  const remedy = `Raise link.telemetryHz (20 is usual) or make window.maxS longer.`;
  const tells = (found: readonly { readonly point: SetPoint; readonly rate: number }[], verb: string): string => {
    const [first] = found;
    if (first === undefined) throw new Error('nothing was found to tell of');
    const { voltage, width, role } = first.point;
    const n = framesAfterFirst(plan, pairEdges(plan.window.minEdges, role), first.rate).most + 1;
    return `${countOf(found, setPoints)} ${verb}: at ${voltage} V and ${ms(width)} ms the longest window holds ${n} telemetry frames (${telemetryHz} a second), too few to compare the flow of its halves, so it is rejected. ${remedy}`;
  };
  const never = rated.filter(({ point, rate }) => [1 / flowFactor, 1, flowFactor].every((factor) => missing(point, factor * rate, 'least')));
  if (never.length > 0) return { result: 'refuse', text: tells(never, 'can never be accepted') };
  const seldom = rated.filter(({ point, rate }) => missing(point, rate, 'usual'));
  if (seldom.length > 0) return { result: 'warn', text: tells(seldom, 'will mostly be rejected') };
  return { result: 'pass', text: `At ${telemetryHz} frames a second every window holds frames enough to compare its halves.` };
}

const ms = (s: number): number => Number((s * 1e3).toPrecision(9));
const countOf = (found: readonly unknown[], all: readonly unknown[]): string => (found.length === 1 ? 'One set point' : `${found.length} of ${all.length} set points`);
