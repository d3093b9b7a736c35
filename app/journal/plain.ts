/**
 * Whether the body of an event is plainly one of its kind, for the kinds that a journal is full of: nine of ten events of a run are an attempt's. Whoever opens a run
 * of some thousand points waits for each of them to be looked at, and schemas take several times as long. It never says yes where the schema of the kind says no; where it
 * says no, the schema decides, which knows more and says why (RUN-180).
 */
import { windowSignals } from '../bench/readings.ts';

type Fields = Readonly<Record<string, unknown>>;

const isFields = (value: unknown): value is Fields => typeof value === 'object' && value !== null && !Array.isArray(value);
const isReal = (value: unknown): boolean => typeof value === 'number' && Number.isFinite(value);
const isText = (value: unknown): boolean => typeof value === 'string';
const isCount = (value: unknown): boolean => Number.isSafeInteger(value) && (value as number) >= 0;
const isAttempt = (value: unknown): boolean => Number.isSafeInteger(value) && (value as number) >= 1;
const mayBe = (value: unknown, is: (value: unknown) => boolean): boolean => value === undefined || is(value);
const orNothing = (value: unknown, is: (value: unknown) => boolean): boolean => value === null || is(value);

const steps: ReadonlySet<unknown> = new Set(['supply', 'condition', 'purge', 'settle', 'measure', 'stop']);
const reasons: ReadonlySet<unknown> = new Set(['plan', 'repeat', 'second-pass', 'measure-again', 'resumed']);
const origins: ReadonlySet<unknown> = new Set(['first-pass', 'second-pass', 'measure-again']);
const verdicts: ReadonlySet<unknown> = new Set(['accepted', 'rejected', 'cut']);

const isSpread = (value: unknown): boolean => isFields(value) && isReal(value['mean']) && isReal(value['sd']);

/** A window with a decay of pressure is left to the schema: zero points are few. */
function isWindow(value: unknown): boolean {
  if (!isFields(value)) return false;
  const { from, to, frames, missingFrames, edges, firstEdgeAt, lastEdgeAt, partRates, pulses, idle, decay } = value;
  return (
    isReal(from) && isReal(to) && isCount(frames) && Number.isSafeInteger(missingFrames) && isCount(edges) && isReal(firstEdgeAt) && isReal(lastEdgeAt) && Number.isSafeInteger(pulses) &&
    Array.isArray(partRates) && partRates.every(isReal) && mayBe(idle, isIdle) && decay === undefined &&
    windowSignals.every(({ id, addedToWindows, further }) => isSpread(value[id]) || (value[id] === undefined && (addedToWindows === true || further === true)))
  );
}

const isIdle = (value: unknown): boolean => isFields(value) && isReal(value['edges']) && isReal(value['time']);

function isCriterion(value: unknown): boolean {
  if (!isFields(value)) return false;
  const { rule, passed, text, quantity, found, low, high, unit } = value;
  const isNumber = (of: unknown): boolean => of === undefined || orNothing(of, isReal);
  return isText(rule) && typeof passed === 'boolean' && isText(text) && mayBe(quantity, isText) && isNumber(found) && isNumber(low) && isNumber(high) && mayBe(unit, isText);
}

const plainly: Readonly<Record<string, (body: Fields) => boolean>> = {
  'attempt-started': ({ point, attempt, reason, origin }) => isCount(point) && isAttempt(attempt) && reasons.has(reason) && (origin === undefined || origins.has(origin)),
  step: ({ point, attempt, step }) => isCount(point) && isAttempt(attempt) && steps.has(step),
  'attempt-ended': ({ point, attempt, verdict, window, criteria, text, injector, cause, drivenWidth }) =>
    isCount(point) && isAttempt(attempt) && verdicts.has(verdict) && orNothing(window, isWindow) && Array.isArray(criteria) && criteria.every(isCriterion) && isText(text) &&
    mayBe(injector, isCount) && mayBe(cause, isText) && mayBe(drivenWidth, isReal),
  chosen: ({ point, attempt, by, why }) => isCount(point) && orNothing(attempt, isAttempt) && isFields(by) && (isText(by['rule']) || isText(by['person'])) && isText(why),
};

export const isPlainly = (kind: string, body: object): boolean => Object.hasOwn(plainly, kind) && plainly[kind]?.(body as Fields) === true;
