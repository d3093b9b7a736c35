import { expect, test } from 'vitest';
import { foundKinds } from '../../app/contract/search.ts';
import { pages } from '../pages/index.ts';
import { filmOfRoute, linkOf, pathOfFound, pathOfInstant, pathOfPoint, runOfRoute } from './places.ts';
import { routeOf } from './route.ts';

test('WIN-54 whatever is found has an address on a page that there is', () => {
  const paths = new Set(pages.map(({ path }) => path));
  for (const kind of foundKinds) {
    const { page, rest } = routeOf(pathOfFound({ kind, id: 'A/1 #2', point: null, attempt: null }));
    expect(paths).toContain(page);
    expect(rest.at(-1)).toBe('A/1 #2');
  }
});

test('WIN-56 points and attempts are numbered in an address as they are shown', () => {
  expect(routeOf(pathOfPoint('r', 0))).toEqual({ page: 'run', rest: ['r', '1'] });
  expect(routeOf(pathOfPoint('r', 11, 2))).toEqual({ page: 'run', rest: ['r', '12', '2'] });
  expect(pathOfFound({ kind: 'note', id: 'r', point: 3, attempt: 1 })).toBe(pathOfPoint('r', 3, 1));
});

test.each([
  ['#/run/r/12', '#/run/r/12'],
  ['http://127.0.0.1:4711/#/results/r/line', '#/results/r/line'],
  ['  http://localhost:4711#/plans ', '#/plans'],
  ['https://elsewhere.example/#/run/r', null],
  ['javascript:alert(1)#/run/r', null],
  ['RH4-0117', null],
  ['#', null],
])('WIN-56 a pasted link leads inside this window and nowhere else: %s', (text, path) => {
  expect(linkOf(text)).toBe(path);
});

test.each([
  ['#/run/r/12', 'r'],
  ['#/results/r/line', 'r'],
  ['#/results/latest/line', null],
  ['#/run', null],
  ['#/plans/r', null],
])('WIN-90 the run whose journal is read ahead is the one that the address names: %s', (hash, run) => {
  expect(runOfRoute(routeOf(hash))).toBe(run);
});

test('WIN-91 an instant of a run has an address, which leads there again', () => {
  const at = Date.UTC(2026, 10, 26, 9, 30, 15, 250);
  expect(filmOfRoute(routeOf(pathOfInstant('r', at)))).toEqual({ at });
  expect(runOfRoute(routeOf(pathOfInstant('r', at)))).toBe('r');
  expect(filmOfRoute(routeOf(pathOfInstant('r')))).toEqual({ at: null });
  expect(filmOfRoute(routeOf('#/run/r/film/nothing'))).toEqual({ at: null });
  expect(filmOfRoute(routeOf('#/run/r/12/2'))).toBeNull();
  expect(filmOfRoute(routeOf('#/results/r/film'))).toBeNull();
});
