/** A report of a run in an archive, as the run stands now, or as it stood when an earlier report was written. REP-20. */
import type { RunEvent } from '../../app/journal/events.ts';
import { foldRun } from '../../app/journal/fold.ts';
import { notesOf, type Note } from '../../app/journal/note.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { Plan } from '../../app/plan/plan.ts';
import { countingAttempts } from '../../app/reduce/counting.ts';
import { reportOf } from '../../app/report/build.ts';
import { reportDetailsSchema, type ReportDetails } from '../../app/report/details.ts';
import type { ReportDocument, ReportIssue, ReportLength } from '../../app/report/document.ts';
import { visitForReport } from '../../app/report/recorded.ts';
import type { MeasuredAt } from '../../app/results/drift.ts';
import { resultsOf } from '../../app/results/run-results.ts';
import { correctedBy } from '../../app/visit/visit.ts';
import type { Archive } from '../archive/archive.ts';
import { headText, type Head } from '../archive/ledger.ts';
import { placeOfRun } from '../archive/proof.ts';
import { isoTime } from '../clock/dating.ts';
import { software } from '../service/software.ts';

export interface ReportWanted {
  readonly runId: string;
  readonly details: ReportDetails;
  readonly length: ReportLength;
  readonly issue: ReportIssue | null;
  /** As it stood then: under this head, with so many events; absent: as it stands. */
  readonly then?: { readonly head: Head; readonly events: number };
}

export type ReportFound = { readonly ok: true; readonly document: ReportDocument } | { readonly ok: false; readonly text: string };

/** Reads and reduces the run. Throws `ArchiveUnreadable` for a damaged archive. */
export function reportInArchive(archive: Archive, { runId, details, length, issue, then }: ReportWanted): ReportFound {
  const run = archive.run(runId);
  if (run === null) return { ok: false, text: `There is no run ${runId} in ${archive.path}.` };
  const folded = folding(archive, runId, then?.events ?? Number.POSITIVE_INFINITY);
  if (typeof folded === 'string') return { ok: false, text: folded };
  const { state, ended, events, notes } = folded;
  const [first, last] = [ended[0], ended.at(-1)];
  if (first === undefined || last === undefined) return { ok: false, text: `Nothing was measured in run ${runId} yet, so there is nothing to report. Measure first.` };
  if (then !== undefined && events < then.events) return { ok: false, text: `Run ${runId} has ${events} events in ${archive.path}, and the report rests on ${then.events}: a part of the run is missing.` };
  const under = then?.head ?? archive.head();
  const hash = hashOfEvent(archive, run, events - 1);
  const { plan, equipment, setPoints: points } = state;
  const times = ended.flatMap(({ point, attempt, at }): MeasuredAt[] => (points[point]?.role === 'reference' ? [{ point, attempt, time: at / 1e3 }] : []));
  return {
    ok: true,
    document: reportOf({
      results: resultsOf({ id: runId, plan, equipment, points, attempts: countingAttempts(state) }),
      state,
      times,
      notes,
      details: then === undefined ? detailsOfNew(details, archive, plan, run.order, length) : details,
      length,
      issue,
      order: run.order,
      measured: { from: isoTime(first.at), to: isoTime(last.at) },
      simulated: run.simulated,
      basis: {
        runId,
        archiveId: archive.archiveId(),
        archiveHead: headText(under),
        journal: { events, hash },
        place: placeOfRun(archive.ledger, runId, under),
        planSha256: run.planHash,
        equipmentSha256: run.equipmentHash,
        measuredWith: run.software,
        writtenWith: software,
      },
    }),
  };
}

interface Folded {
  readonly state: RunState;
  /** Attempts that ended, in their order. */
  readonly ended: readonly { readonly point: number; readonly attempt: number; readonly at: number }[];
  readonly events: number;
  readonly notes: readonly Note[];
}

/** The first `most` events of a journal; or why they cannot be had. */
function folding(archive: Archive, id: string, most: number): Folded | string {
  let state: RunState | null = null;
  let events = 0;
  const ended: { point: number; attempt: number; at: number }[] = [];
  const noted: RunEvent[] = [];
  for (const event of archive.events(id)) {
    const { at, body, seq } = event;
    if (events === most) break;
    events += 1;
    try {
      state = foldRun(state, body);
    } catch (error) {
      return `Event ${seq} of run ${id} cannot follow the events before it: ${(error as Error).message} Check the archive with 'verify'.`;
    }
    if (body.kind === 'commanded' && body.command.kind === 'note') noted.push(event);
    if (body.kind === 'attempt-ended') ended.push({ point: body.point, attempt: body.attempt, at });
  }
  return state === null ? `Run ${id} has no journal: nothing was measured in it.` : { state, ended, events, notes: notesOf(noted) };
}

/** The hash of an event of a run's journal. */
function hashOfEvent(archive: Archive, run: { readonly no: number }, seq: number): string {
  for (const row of archive.eventRows(run, seq)) return row.hash.toString('hex');
  return '';
}

/** What a new report says beside what it was given; one page has no room for more than conditions. */
function detailsOfNew(given: ReportDetails, archive: Archive, plan: Plan, order: string, length: ReportLength): ReportDetails {
  const booked = withBookedConditions(given, archive, plan);
  return length === 'one-page' ? booked : withTrials(withRecorded(booked, archive, plan, order));
}

/** A Monte Carlo beside the results, unless somebody said otherwise; from then on the report says which (TAB-27). Its parts in the order in which they are read back. */
const withTrials = (details: ReportDetails): ReportDetails => reportDetailsSchema.parse({ ...details, monteCarlo: details.monteCarlo ?? true });

/**
 * Details with the examinations of the injectors in this job, those that no other record corrects, and with the notes, unless somebody said otherwise; from then on the report has
 * them, whatever is recorded later (REP-50, REP-51).
 */
function withRecorded(details: ReportDetails, archive: Archive, { injectors }: Plan, order: string): ReportDetails {
  const visits = order === '' ? [] : injectors.flatMap(({ serialNumber, type }) => {
    const kept = archive.visits.of(serialNumber);
    const corrected = correctedBy(kept);
    return kept.flatMap(({ no, record }) => (record.order === order && (record.type === '' || record.type === type) && !corrected.has(no) ? [visitForReport(no, record)] : []));
  });
  return { ...details, notes: details.notes ?? true, ...(details.visits !== undefined || visits.length > 0 ? { visits: details.visits ?? visits } : {}) };
}

/**
 * Details with the conditions under which injectors were booked in, where the file says nothing of them: from then on the report has them,
 * whatever is written into the register later.
 */
function withBookedConditions(details: ReportDetails, archive: Archive, { injectors }: Plan): ReportDetails {
  const given = new Set(details.conditions.map((c) => c.serialNumber));
  const parts = archive.library.parts();
  const booked = injectors.flatMap(({ type, serialNumber }) => {
    const part = given.has(serialNumber) ? undefined : parts.find((p) => p.type === type && p.serialNumber === serialNumber && p.condition !== '');
    return part === undefined ? [] : [{ serialNumber, condition: part.condition }];
  });
  return booked.length === 0 ? details : { ...details, conditions: [...details.conditions, ...booked] };
}
