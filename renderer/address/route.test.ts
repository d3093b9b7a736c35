import fc from 'fast-check';
import { expect, test } from 'vitest';
import { pathTo, routeOf } from './route.ts';

test('a path that was made is read back as it was, whatever is in it', () => {
  const part = fc.string({ minLength: 1 });
  fc.assert(
    fc.property(part, fc.array(part), (page, rest) => {
      expect(routeOf(pathTo(page, ...rest))).toEqual({ page, rest });
    }),
  );
});

test('what is no path leads to the beginning or is taken as it stands', () => {
  expect(routeOf('')).toEqual({ page: '', rest: [] });
  expect(routeOf('#/')).toEqual({ page: '', rest: [] });
  expect(routeOf('#/run/%E0%A4%A')).toEqual({ page: 'run', rest: ['%E0%A4%A'] });
});
