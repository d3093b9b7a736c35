import { describe, expect, test } from 'vitest';
import { PageWatch, type PageAction, type PageEvent } from './page-watch.ts';

/** What is done upon events that come one second apart, or at their times, s. */
function actions(...events: readonly (PageEvent['kind'] | readonly [number, PageEvent['kind']])[]): PageAction['kind'][] {
  const watch = new PageWatch();
  let at = 0;
  return events.map((event) => {
    at = typeof event === 'string' ? at + 1 : event[0];
    return watch.take({ kind: typeof event === 'string' ? event : event[1] }, at * 1000).kind;
  });
}

describe('HOST-32 which event leads to what', () => {
  test.each<[string, ReturnType<typeof actions>, PageAction['kind'][]]>([
    ['a page that is gone is loaded anew', actions('gone'), ['load-anew']],
    ['three times within ten minutes', actions('gone', 'gone', 'gone', 'gone'), ['load-anew', 'load-anew', 'load-anew', 'give-up']],
    ['after that nothing more happens by itself', actions('gone', 'gone', 'gone', 'gone', 'gone', 'unresponsive', 'responsive', 'waited'), ['load-anew', 'load-anew', 'load-anew', 'give-up', 'nothing', 'nothing', 'nothing', 'nothing']],
    ['a person may have it again, with three more', actions('gone', 'gone', 'gone', 'gone', 'shown-again', 'gone', 'gone', 'gone'), ['load-anew', 'load-anew', 'load-anew', 'give-up', 'load-anew', 'load-anew', 'load-anew', 'give-up']],
    ['what was longer ago does not count', actions([1, 'gone'], [2, 'gone'], [3, 'gone'], [602, 'gone']), ['load-anew', 'load-anew', 'load-anew', 'load-anew']],
    ['what was just within does', actions([1, 'gone'], [2, 'gone'], [3, 'gone'], [600, 'gone']), ['load-anew', 'load-anew', 'load-anew', 'give-up']],
    ['a page that hangs is waited for, ended, and loaded anew once it is gone', actions('unresponsive', 'waited', 'gone'), ['wait', 'end-process', 'load-anew']],
    ['or once that was not told in time', actions('unresponsive', 'waited', 'waited', 'waited'), ['wait', 'end-process', 'load-anew', 'nothing']],
    ['one that comes back is left alone', actions('unresponsive', 'responsive', 'waited'), ['wait', 'nothing', 'nothing']],
    ['one that is said to hang twice is waited for once', actions('unresponsive', 'unresponsive'), ['wait', 'nothing']],
    ['one that hangs and dies is loaded once', actions('unresponsive', 'gone', 'waited'), ['wait', 'load-anew', 'nothing']],
    ['a page that hangs again and again is given up too', actions(...Array.from({ length: 4 }, () => ['unresponsive', 'waited', 'gone'] as const).flat()).filter((kind) => kind === 'load-anew' || kind === 'give-up'), ['load-anew', 'load-anew', 'load-anew', 'give-up']],
  ])('%s', (_, seen, wanted) => {
    expect(seen).toEqual(wanted);
  });
});
