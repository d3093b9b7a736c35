/** What the invariance set and the blind windows of a run say, in words. */
import type { BlindFinding, InvarianceMember, InvarianceSet } from './reduction.ts';

/** What is held against what. */
export const memberTitles: Readonly<Record<InvarianceMember['of'], string>> = {
  period: 'twice the period, short pulse',
  'long-period': 'twice the period, longest pulse',
  direction: 'after a longer against after a shorter pulse',
  pressure: 'more against less rail pressure',
  time: 'end of the run against its block',
};

/** What may be behind a call, and what it does to the results. */
const behind: Readonly<Record<InvarianceMember['of'], string>> = {
  period: 'Fluid that leaks past the injectors, a K-factor that is wrong at one of the two rates, or a coil warmer than is allowed for. The dead times carry the difference, where the leak does not have it already.',
  'long-period': 'A K-factor that is wrong at one of the two rates, pressure that dips while the injector is open, or a coil warmer than is allowed for. The dead times carry the difference.',
  direction: 'The coil follows its warmth later than is allowed for. The dead times carry the difference; settle longer (settleS) or pulse at a longer period.',
  pressure: 'Flow does not follow the root of the pressure, or the dead time changes with it otherwise than told. The slopes carry as much of it as windows may stand off the set point.',
  time: 'Meter, pressure or injectors drifted over the run. The slopes carry the difference; a reference point shows when it came.',
};

const verdicts: Readonly<Record<InvarianceMember['by'], string>> = { common: 'does not agree', injectors: 'injectors differ', course: 'the reference point wandered' };

const microseconds = (s: number): string => `${(s * 1e6).toFixed(2)} us`;

export function memberVerdict(m: InvarianceMember): string {
  if (!m.called) return 'agrees';
  return `${verdicts[m.by]}. ${behind[m.of]}`;
}

function memberSentence(m: InvarianceMember): string {
  const u = Math.hypot(m.uRandom, m.uShared);
  return `${memberTitles[m.of]}: ${microseconds(m.difference)} ± ${microseconds(2 * u)} (k = 2, ${m.percent.toFixed(3)} % of the mass, ${m.injectors.length} injectors), ${m.z.toFixed(1)} standard uncertainties: ${memberVerdict(m)}`;
}

/** One line a member, after one that says what a verdict is worth. */
export function invarianceSentences({ members, tests, falseCalls }: InvarianceSet): readonly string[] {
  if (members.length === 0) return ['Nothing was measured again under a changed nuisance (the plan has neither an invariance set nor period pairs), so the run does not say by itself whether its numbers depend on what they were measured beside.'];
  return [
    `${members.length === 1 ? 'One nuisance' : `${members.length} nuisances`} changed, ${tests} tests, each at ${((100 * falseCalls) / tests).toFixed(2)} % (Bonferroni): on a bench on which all agrees one run in ${Math.round(1 / falseCalls)} has a call.`,
    ...members.map(memberSentence),
  ];
}

/** Blind windows of a run: how many were told, and of those how many were found. */
export function blindSentences(blind: readonly BlindFinding[]): readonly string[] {
  if (blind.length === 0) return ['The run has no blind window that counts: its plan has none, or none was accepted.'];
  const told = blind.flatMap((b) => (b.truth === null ? [] : [{ ...b, truth: b.truth }]));
  const sealed = blind.length - told.length;
  const inside = told.filter((b) => Math.abs(b.found - b.truth) <= b.expanded).length;
  return [
    ...(told.length === 0 ? [] : [`${told.length} blind shifts: ${inside} inside their 95 % intervals (${((100 * inside) / told.length).toFixed(0)} %).`]),
    ...(sealed === 0 ? [] : [`${sealed} blind windows are sealed until the run rests; where a program ended before that, their secrets are lost and they count for nothing.`]),
  ];
}
