import { expect, it } from 'vitest';
import { archiveRequests } from './archive-requests.ts';
import { benchRequests } from './bench-requests.ts';
import { requests } from './contract.ts';
import { equipmentRequests } from './equipment-requests.ts';
import { injectorRequests } from './injector-requests.ts';
import { lifeRequests } from './life-requests.ts';
import { libraryRequests } from './library-requests.ts';
import { recordRequests } from './record-requests.ts';
import { reportRequests } from './report-requests.ts';
import { runRequests } from './run-requests.ts';

it('no two areas have a request of one name: the later would stand for both, with other rights', () => {
  const names = [benchRequests, libraryRequests, equipmentRequests, runRequests, injectorRequests, lifeRequests, reportRequests, archiveRequests, recordRequests].flatMap((area) => Object.keys(area));
  expect(names.filter((name, i) => names.indexOf(name) !== i)).toEqual([]);
  expect(names.sort()).toEqual(Object.keys(requests).sort());
});
