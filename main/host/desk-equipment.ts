/** Equipment records and meter checks for windows: read and worked out where the heartbeat does not wait for it. HOST-91, HOST-92. */
import type { AnswerTo } from '../../app/contract/contract.ts';
import type { MeterCheckRow } from '../../app/contract/meter-check-row.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { parseEquipment } from '../../app/equipment/parse.ts';
import { meterHistory, type HistoryEntry, type MeterHistory } from '../../app/meter-check/in-force.ts';
import { judgeCheck } from '../../app/meter-check/judge.ts';
import { parseMeterCheck, type MeterCheck } from '../../app/meter-check/meter-check.ts';
import type { Archive } from '../archive/archive.ts';
import { openingOf } from '../archive/opening.ts';
import { sha256 } from '../archive/chain.ts';
import { isoDay } from '../clock/dating.ts';

/** A list stays well below the most that is handed to a window (HOST-10). */
const MOST_CHARACTERS = 384 * 1024;
const MOST_VERSIONS = 100;
const MOST_CHECKS = 200;
const MOST_DOUBTFUL = 500;

export function listedEquipment(archive: Archive, today: string): AnswerTo<'equipment.history'> {
  const versions = archive.library.equipmentVersions(MOST_VERSIONS);
  const measured = new Map<string, number>();
  for (const { equipmentHash } of archive.everyRun()) measured.set(equipmentHash, (measured.get(equipmentHash) ?? 0) + 1);
  const shown: AnswerTo<'equipment.history'>['versions'] = [];
  let length = 0;
  for (const { version, savedAt, document } of versions) {
    length += JSON.stringify(document).length;
    if (length > MOST_CHARACTERS && shown.length > 0) break;
    // A run stores the record as it was read, and not as it was written.
    const parsed = parseEquipment(document);
    shown.push({ version, savedAt, document, runs: parsed.ok ? (measured.get(sha256(JSON.stringify(parsed.equipment))) ?? 0) : 0 });
  }
  const latest = archive.library.equipmentVersion();
  return { today, latest, cut: shown.length < latest, versions: shown };
}

const rowOf = ({ no, check, outcome, effect, effectText, superseded }: HistoryEntry): MeterCheckRow => {
  const { certificate, purpose, operator, limits } = check;
  const { evaluated } = outcome;
  return {
    no, date: certificate.date, certificate: certificate.number, validUntil: certificate.validUntil, purpose, operator, effect, superseded,
    verdict: evaluated === null ? null : outcome.comparison.verdict,
    text: evaluated === null ? `${outcome.text} ${effectText}` : `${outcome.comparison.text} ${effectText}`,
    rates: evaluated === null ? [] : evaluated.rates.map(({ hertz, kFactor, runs }, i) => {
      const { percent = 0, expandedPercent = 0, fromCertificatePercent = 0 } = outcome.comparison.deviations[i] ?? {};
      return { hertz, edgesPerLitre: kFactor.value / 1e3, expandedEdgesPerLitre: kFactor.expanded / 1e3, runs: runs.length, percent, expandedPercent, fromCertificatePercent };
    }),
    repeatabilityPercent: evaluated?.repeatability == null ? null : 100 * evaluated.repeatability.sd,
    creepPercent: limits.creepPercent,
    cautions: [...(evaluated?.cautions ?? [])],
  };
};

export function listedMeterChecks(archive: Archive, equipment: Equipment, today: string): AnswerTo<'meter-checks.list'> {
  const history = meterHistory(archive.meterChecks.list(), equipment, today);
  const { entries, inForce, record } = history;
  const checks: MeterCheckRow[] = [];
  let length = 0;
  for (const entry of entries.toReversed()) {
    const row = rowOf(entry);
    length += JSON.stringify(row).length;
    if (checks.length > 0 && (checks.length === MOST_CHECKS || length > MOST_CHARACTERS)) break;
    checks.push(row);
  }
  const last = entries.at(-1);
  const suspended = inForce.kind === 'none' && inForce.reason === 'suspended';
  const { serialNumber, certificate } = record.meter;
  return {
    today, meter: serialNumber, certificate: equipment.meter.certificate.number, cut: checks.length < entries.length, checks,
    standing: inForce.kind === 'in-force'
      ? { check: inForce.no, suspended, validUntil: inForce.check.certificate.validUntil, text: `Check ${inForce.no} (${inForce.check.certificate.number}) is in force until ${inForce.check.certificate.validUntil}.` }
      : { check: null, suspended, validUntil: null, text: entries.length === 0 ? `Meter ${serialNumber} was never checked by catch and weigh. Its certificate ${certificate.number} holds.` : inForce.text },
    doubtful: suspended ? doubtfulRuns(archive, history) : [],
    inForce: inForce.kind === 'in-force' && inForce.check.certificate.number !== equipment.meter.certificate.number ? inForce.equipment : null,
    latest: last === undefined ? null : { ...last.check, judged: undefined, driftAccepted: undefined },
  };
}

/** MC-19: what was measured since the meter was last known to be good, the latest first. */
function doubtfulRuns(archive: Archive, { lastGood, record }: MeterHistory): { id: string; day: string }[] {
  const since = lastGood ?? record.meter.certificate.date;
  const doubtful: { id: string; day: string }[] = [];
  for (const { id, createdAt } of archive.everyRun()) {
    const day = isoDay(createdAt);
    if (day < since || doubtful.length === MOST_DOUBTFUL) break;
    if (openingOf(archive, id)?.equipment.meter.serialNumber === record.meter.serialNumber) doubtful.push({ id, day });
  }
  return doubtful;
}

/** What a check comes to; `check`: as it would be kept; null: it cannot be. */
export function judgedForWindow(archive: Archive, equipment: Equipment, document: unknown): AnswerTo<'meter-check.try'> & { readonly document: MeterCheck | null } {
  const parsed = parseMeterCheck(document);
  if (!parsed.ok) return { problems: [...parsed.problems], check: null, document: null };
  const judged = judgeCheck(archive.meterChecks.list(), equipment, parsed.check);
  if (judged.ok) return { problems: [], check: rowOf(judged.entry), document: judged.check };
  const path = { judged: 'judged', 'other-meter': 'meterSerialNumber', 'kept-already': 'certificate.number', 'not-evaluated': 'flowRates' }[judged.reason];
  return { problems: [{ path, text: judged.text }], check: null, document: null };
}
