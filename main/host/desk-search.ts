/** Looks for a text in everything that the archive holds: injectors, orders, types, runs, plans, reports, examinations and notes (HOST-109, HOST-155). */
import type { AnswerTo } from '../../app/contract/contract.ts';
import { foundKinds } from '../../app/contract/search.ts';
import { notesOf, type Note } from '../../app/journal/note.ts';
import { searchable } from '../../app/journal/outline.ts';
import { shownPoint } from '../../app/plan/points.ts';
import { visitStages } from '../../app/visit/visit.ts';
import type { Archive } from '../archive/archive.ts';
import type { StoredRun } from '../archive/read.ts';
import { listedReports } from './desk-reports.ts';

type Found = AnswerTo<'search'>['found'][number];

/** There may be several of one run or injector. */
const severalOfOne: ReadonlySet<Found['kind']> = new Set(['note', 'examination']);
/** The latest examinations that are looked through. */
const MOST_EXAMINATIONS = 5000;

/** Of a kind. */
const MOST = 12;
/** Their plans are read for the injectors, orders and types in them. */
const MOST_RUNS = 40;

const one = (kind: Found['kind'], id: string, text: string, detail: string, more: Partial<Found> = {}): Found => ({ kind, id, text, detail, at: null, point: null, attempt: null, injector: null, open: false, ...more });

export function searchAtDesk(archive: Archive, text: string): AnswerTo<'search'> {
  const wanted = searchable(text.trim());
  const has: Has = (...texts) => texts.some((candidate) => searchable(candidate).includes(wanted));
  const found = new Map<Found['kind'], Map<string, Found>>(foundKinds.map((kind) => [kind, new Map()]));
  const add: Add = (item) => {
    const ofKind = found.get(item.kind);
    if (ofKind?.has(item.id) === false) ofKind.set(severalOfOne.has(item.kind) ? `${item.id} ${item.at} ${ofKind.size}` : item.id, item);
  };
  const runs = archive.runs({ limit: MOST_RUNS, text: wanted });
  const byId = wanted.length < 6 ? null : archive.run(text.trim());
  for (const run of byId === null ? runs : [byId, ...runs]) {
    add(one('run', run.id, run.planName, [run.order, run.operator, `${run.status.counting} of ${run.status.points} points accepted`].filter((part) => part !== '').join(' · '), { at: run.createdAt }));
    if (wanted !== '') addOfPlan(archive, run, has, add);
  }
  if (wanted !== '') addKept(archive, has, add);
  for (const { id, note } of notesIn(archive)) if (wanted === '' ? note.open : has(note.text, note.by)) add(one('note', id, note.text, aboutInWords(note), { at: note.at, point: note.point, attempt: note.attempt, injector: note.injector, open: note.open }));
  const lists = [...found.values()].map((ofKind) => [...ofKind.values()]);
  // What was written last is looked for first; runs come so already.
  const notes = lists.at(-1)?.reverse() ?? [];
  const ordered = wanted === '' ? [notes, ...lists.slice(0, -1)] : lists;
  return { found: ordered.flatMap((list) => list.slice(0, MOST)), cut: lists.some((list) => list.length > MOST) };
}

type Has = (...texts: readonly string[]) => boolean;
type Add = (item: Found) => void;

/** What was taken in, and the book of reports. */
function addKept(archive: Archive, has: Has, add: Add): void {
  for (const part of archive.library.parts()) {
    if (has(part.serialNumber)) add(one('injector', part.serialNumber, part.serialNumber, [part.type, part.order].filter((piece) => piece !== '').join(' · ')));
    if (has(part.order) && part.order !== '') add(one('order', part.order, part.order, 'Order of injectors that were taken in'));
    if (has(part.type)) add(one('type', part.type, part.type, 'Type of injector'));
  }
  for (const plan of archive.library.plans()) if (has(plan.name)) add(one('plan', plan.id, plan.name, `Version ${plan.version}, saved by ${plan.savedBy}`, { at: plan.savedAt }));
  for (const { record, savedAt } of archive.visits.latest(MOST_EXAMINATIONS)) {
    const { serialNumber, order, stage, doneOn, by, visual, spray, remark } = record;
    if (has(visual, spray, remark, by, order, serialNumber)) add(one('examination', serialNumber, serialNumber, [visitStages[stage], doneOn, order, by, visual, spray, remark].filter((part) => part !== '').join(' · '), { at: savedAt }));
  }
  for (const report of listedReports(archive).reports) if (has(report.number, report.by ?? '')) add(one('report', report.number, report.number, `Report${report.by === null ? '' : `, released by ${report.by}`}${report.amendedBy === null ? '' : `, amended by ${report.amendedBy}`}`, { at: Date.parse(report.at) }));
}

/** Injectors, order and types of a run, from its plan as it was opened. */
function addOfPlan(archive: Archive, run: StoredRun, has: Has, add: Add): void {
  if (run.order !== '' && has(run.order)) add(one('order', run.order, run.order, 'Order of a run'));
  const first = archive.events(run.id, 0).next();
  const body = first.done === true ? null : first.value.body;
  if (body?.kind !== 'opened') return;
  for (const { serialNumber, type } of body.plan.injectors) {
    if (has(serialNumber)) add(one('injector', serialNumber, serialNumber, type));
    if (type !== '' && has(type)) add(one('type', type, type, 'Type of injector'));
  }
}

function notesIn(archive: Archive): readonly { readonly id: string; readonly note: Note }[] {
  const byRun = Map.groupBy(archive.notedEvents(), ({ id }) => id);
  return [...byRun].flatMap(([id, events]) => notesOf(events.map(({ event }) => event)).map((note) => ({ id, note })));
}

function aboutInWords({ point, attempt, injector, by, mark, open }: Note): string {
  const about = injector !== null ? `Injector ${injector + 1} of a run` : point === null ? 'Of a run' : `Point ${shownPoint(point)}${attempt === null ? '' : `, attempt ${attempt}`}`;
  const state = open ? ' · to be looked at' : mark === 'look' ? ' · looked at' : '';
  return `${about} · ${by}${state}`;
}
