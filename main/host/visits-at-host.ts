/** What windows tell of visits of injectors: looked at, and kept with its photos. HOST-140 */
import type { AnswerTo, ParsedParams } from '../../app/contract/contract.ts';
import { readPhoto } from '../../app/visit/photo.ts';
import { readStatedVisit } from '../../app/visit/visit.ts';
import type { Archive } from '../archive/archive.ts';
import type { PhotoToKeep } from '../archive/visits.ts';
import type { Clock } from '../clock/clock.ts';
import { latestDay } from '../clock/dating.ts';
import type { GivenFiles } from './given-files.ts';
import { Failed } from './outcome.ts';

interface VisitParts {
  readonly archive: Archive;
  readonly given: GivenFiles;
  readonly clock: Clock;
}

const base64 = /^(?:[A-Za-z0-9+/]{4})*(?:[A-Za-z0-9+/]{2}==|[A-Za-z0-9+/]{3}=)?$/;

export function keepVisit({ archive, given, clock }: VisitParts, { visit, photos }: ParsedParams<'visits.add'>): AnswerTo<'visits.add'> | Failed {
  // All are taken, so that none of a record that is refused lies there for another.
  const texts = photos.map(({ upload }) => given.take(upload));
  const latest = latestDay(clock.unixNow());
  const read = readStatedVisit(visit, { photos: photos.length, latest });
  const problems = read.ok ? [] : [...read.problems];
  const kept: PhotoToKeep[] = [];
  for (const [i, { name, shows }] of photos.entries()) {
    const text = texts[i] ?? null;
    if (text === null || !base64.test(text)) {
      problems.push({ path: `photos[${i}]`, text: `${name} did not come, or not whole. Choose it again.` });
      continue;
    }
    const data = Buffer.from(text, 'base64');
    const found = readPhoto(data, name);
    if (found.ok) kept.push({ ...found.photo, shows: shows.trim(), data });
    else problems.push({ path: `photos[${i}]`, text: `${name}: ${found.text}` });
  }
  if (!read.ok || problems.length > 0) return { problems, no: null };
  const added = archive.visits.add(read.stated, kept);
  if (added.ok) return { problems: [], no: added.stored.no };
  return added.code === 'refused' ? { problems: [{ path: '', text: added.text }], no: null } : new Failed('archive', added.text);
}
