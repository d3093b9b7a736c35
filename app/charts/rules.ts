/**
 * What on a chart is no chance: rules of published sources, as data. A rule looks at the newest points only, so a signal
 * stands at the point that completes it, and nothing after that point can change it.
 */

export const ruleSets = ['limits', 'western-electric', 'nelson'] as const;
export type RuleSet = (typeof ruleSets)[number];

export interface ChartRule {
  readonly id: string;
  /** What must be seen, as a sentence part after "because". */
  readonly text: string;
  /** Points that the rule looks at, and how many of them it needs: k of n can be there before n are. */
  readonly length: number;
  readonly fewest: number;
  /** `z`: the newest `length` points (at the beginning of a history fewer), oldest first, as distances from the centre in standard deviations. */
  readonly signals: (z: readonly number[]) => boolean;
}

const sides = (z: readonly number[], test: (v: readonly number[]) => boolean): boolean => test(z) || test(z.map((v) => -v));

/** `k` of the points lie beyond `limit` on one side, the newest among them. */
const beyond = (k: number, limit: number) => (z: readonly number[]) =>
  sides(z, (v) => (v.at(-1) ?? 0) > limit && v.filter((x) => x > limit).length >= k);

const allOneSide = (z: readonly number[]): boolean => sides(z, (v) => v.every((x) => x > 0));

const trend = (z: readonly number[]): boolean => sides(z, (v) => v.every((x, i) => i === 0 || x > (v[i - 1] ?? x)));

const alternating = (z: readonly number[]): boolean =>
  z.every((x, i) => {
    const [one, two] = [z[i - 1], z[i - 2]];
    return one === undefined || two === undefined || (x - one) * (one - two) < 0;
  });

const hugging = (z: readonly number[]): boolean => z.every((x) => Math.abs(x) < 1);

const avoiding = (z: readonly number[]): boolean => z.every((x) => Math.abs(x) > 1) && z.some((x) => x > 0) && z.some((x) => x < 0);

const rule = (id: string, length: number, text: string, signals: ChartRule['signals'], fewest = length): ChartRule => ({ id, length, fewest, text, signals });
const shewhart = rule('WE-1', 1, 'it lies more than three standard deviations from the centre', beyond(1, 3));

/**
 * limits: the three standard deviations alone (Shewhart). western-electric: zone tests of the Statistical Quality Control Handbook, Western Electric 1956 (as widely restated).
 * nelson: L. S. Nelson, Journal of Quality Technology 16 (1984) 237 (as widely restated).
 */
export const chartRules: Readonly<Record<RuleSet, readonly ChartRule[]>> = {
  limits: [shewhart],
  'western-electric': [
    shewhart,
    rule('WE-2', 3, 'two of three points in a row lie more than two standard deviations to one side', beyond(2, 2), 2),
    rule('WE-3', 5, 'four of five points in a row lie more than one standard deviation to one side', beyond(4, 1), 4),
    rule('WE-4', 8, 'eight points in a row lie on one side of the centre', allOneSide),
  ],
  nelson: [
    rule('N-1', 1, 'it lies more than three standard deviations from the centre', beyond(1, 3)),
    rule('N-2', 9, 'nine points in a row lie on one side of the centre', allOneSide),
    rule('N-3', 6, 'six points in a row rise, or fall, all the way', trend),
    rule('N-4', 14, 'fourteen points in a row go up and down in turn', alternating),
    rule('N-5', 3, 'two of three points in a row lie more than two standard deviations to one side', beyond(2, 2), 2),
    rule('N-6', 5, 'four of five points in a row lie more than one standard deviation to one side', beyond(4, 1), 4),
    rule('N-7', 15, 'fifteen points in a row lie within one standard deviation of the centre, which is too quiet for these limits', hugging),
    rule('N-8', 8, 'eight points in a row lie more than one standard deviation away, on both sides', avoiding),
  ],
};
