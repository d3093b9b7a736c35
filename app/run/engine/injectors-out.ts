/** Injectors that are measured no further: set aside by their first look, or given up in the sweep (RUN-133, RUN-134, RUN-142). */
import { hasLook } from '../../plan/look.ts';
import type { Point } from '../../plan/points.ts';
import type { OutKind } from '../../journal/events.ts';
import { nextTarget } from '../../journal/targets.ts';
import { judgeLooks } from '../look.ts';
import type { LookedAt } from '../look.ts';
import type { EngineCore } from './core.ts';
import { leave } from './course.ts';
import type { Leave } from './course.ts';
import type { Safety } from './safety.ts';

/** Injectors that fail one after another for one cause: then it is the bench, and not they (RUN-134). */
const outsToTrip = 3;

export class InjectorsOut {
  readonly #core: EngineCore;
  readonly #safety: Safety;
  /** Of each injector of the plan, and the points of the run that they were taken from. */
  #lookPoints: readonly (readonly Point[])[] = [];
  #setPoints: readonly Point[] = [];

  constructor(core: EngineCore, safety: Safety) {
    this.#core = core;
    this.#safety = safety;
  }

  /** After a rejected attempt: what turns the run away because of it, or null. */
  afterRejection(point: number, injector: number, cause: string, text: string): Leave | null {
    return this.#givesUp(injector, text) ?? this.#setsAside(point, injector, cause, text);
  }

  /** Once all that can be looked at has been: those that are not yet judged from their present attempts are (RUN-142). */
  judgeLooks(): void {
    const { plan, equipment, looked, points, out } = this.#core.state;
    if (!hasLook(plan) || !this.#looks().some((look, injector) => this.#isToBeJudged(look, injector))) return;
    const all = this.#lookedAt();
    const attemptsOf = (one: LookedAt) => one.points.map(({ index }) => points.at(index)?.chosen ?? 0);
    const open = all.filter((one) => attemptsOf(one).join() !== looked.get(one.injector)?.attempts.join());
    const judged = judgeLooks(plan, equipment, all);
    for (const one of open) {
      const found = judged.find(({ injector }) => injector === one.injector);
      if (found === undefined) continue;
      const { injector, passed, criteria, text } = found;
      this.#core.emit({ kind: 'injector-looked-at', injector, attempts: attemptsOf(one), passed, criteria, text });
      const cause = criteria.find((criterion) => !criterion.passed)?.rule ?? '';
      if (!passed && !out.has(injector)) this.#takeOut('set-aside', injector, cause, `was set aside after its first look: ${text}.`);
    }
  }

  /** The look points of each injector; worked out again only when points were added (RUN-173). */
  #looks(): readonly (readonly Point[])[] {
    const { plan, setPoints } = this.#core.state;
    if (setPoints !== this.#setPoints) {
      this.#setPoints = setPoints;
      this.#lookPoints = plan.injectors.map((_, injector) => setPoints.filter((point) => point.role === 'look' && point.injector === injector));
    }
    return this.#lookPoints;
  }

  /** Each point of its look has a window that counts, and one at least is another than it was judged from. Asked at every point, so it makes nothing (RUN-173). */
  #isToBeJudged(look: readonly Point[], injector: number): boolean {
    const { points, looked } = this.#core.state;
    const judgedFrom = looked.get(injector)?.attempts;
    let isAnother = false;
    for (let part = 0; part < look.length; part += 1) {
      const record = points.at(look[part]?.index ?? -1);
      if (record?.chosen == null || record.attempts[record.chosen - 1]?.window == null) return false;
      if (record.chosen !== judgedFrom?.[part]) isAnother = true;
    }
    return isAnother;
  }

  /** Injectors with a window that counts for each point of their look. */
  #lookedAt(): readonly LookedAt[] {
    const { state } = this.#core;
    return state.plan.injectors.flatMap((_, injector): LookedAt[] => {
      const points = this.#looks()[injector] ?? [];
      const windows = points.flatMap(({ index }) => {
        const record = state.points.at(index);
        const window = record?.chosen == null ? null : (record.attempts[record.chosen - 1]?.window ?? null);
        return window === null ? [] : [window];
      });
      return points.length > 0 && windows.length === points.length ? [{ injector, points, windows }] : [];
    });
  }

  /** An injector whose first look cannot be had is set aside at once (RUN-142). */
  #setsAside(point: number, injector: number, cause: string, text: string): Leave | null {
    const { state } = this.#core;
    if (state.setPoints[point]?.role !== 'look' || nextTarget(state)?.point === point || state.out.has(injector)) return null;
    this.#takeOut('set-aside', injector, cause, `was set aside: its first look failed. ${text}`);
    if (cause === 'RUN-136') {
      return this.#safety.leaveTripped('does-not-shut', `Fluid flows with all injectors off, so nothing that is measured now is right. ${state.out.get(injector)?.text ?? ''}`);
    }
    return this.#blamesBench();
  }

  /** An injector that has failed often enough is given up (RUN-133). */
  #givesUp(injector: number, text: string): Leave | null {
    const { plan, failing, out } = this.#core.state;
    const { afterFailures } = plan.giveUp;
    const streak = failing.get(injector);
    if (afterFailures === 0 || streak === undefined || streak.count < afterFailures || out.has(injector)) return null;
    this.#takeOut('given-up', injector, streak.cause, `was given up after ${streak.count} rejected attempts in a row with the same cause. The last: ${text}`);
    return this.#blamesBench();
  }

  #takeOut(how: OutKind, injector: number, cause: string, why: string): void {
    const { state } = this.#core;
    const points = this.#core.state.setPoints.flatMap(({ index }) => {
      const record = state.points.at(index);
      return this.#core.drivenInjector(index) === injector && record?.chosen === null && record.skipped === null && record.choice === null ? [index] : [];
    });
    const { serialNumber, channel } = state.plan.injectors[injector] ?? { serialNumber: '', channel: 0 };
    this.#core.emit({ kind: 'injector-out', how, injector, points, cause, text: `${serialNumber} on channel ${channel} ${why} Its ${points.length} points without a result wait; the others go on.` });
  }

  /** One injector after another fails for one cause: it is the bench. They come back, and the run trips (RUN-134). */
  #blamesBench(): Leave | null {
    const { plan, outRunning, out } = this.#core.state;
    const { injectors } = outRunning;
    const all = plan.injectors.length;
    if (all < 2 || injectors.length < Math.min(outsToTrip, all)) return null;
    const serials = injectors.map((i) => plan.injectors[i]?.serialNumber ?? '').join(', ');
    const last = out.get(injectors[injectors.length - 1] ?? -1)?.text ?? '';
    return leave(() => {
      for (const injector of injectors) this.#core.emit({ kind: 'injector-back', injector, text: 'The bench is suspected, and not the injector.' });
      this.#safety.trip('every-injector', `${serials} failed one after another with the same cause, so the bench is suspected and not the injectors. ${last}`);
    });
  }
}
