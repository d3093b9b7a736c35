import { expect, describe, it } from 'vitest';
import { normals } from '../statistics/normals.ts';
import { drawnJob, type JobWish } from './recognise.test-helper.ts';
import { identityQuestions, printedRun, questionWords } from './recognise.ts';

/** Questions about the second run of a job, as `asked -> like`. */
const asked = (wish: JobWish, seed: number): readonly string[] => {
  const { first, second } = drawnJob(wish, normals(seed));
  return identityQuestions(printedRun(second), [printedRun(first)]).map(({ serialNumber, like }) => `${serialNumber} -> ${like}`);
};

describe('WIN-83: an injector recognised by its own numbers', () => {
  it('asks about two that were exchanged, and names each by the other', () => {
    expect(asked({ really: [1, 0, 2, 3, 4, 5] }, 501)).toEqual(['S-1 -> S-2', 'S-2 -> S-1']);
    expect(asked({ really: [0, 1, 2, 3, 4, 5] }, 501)).toEqual([]);
  });

  it('asks about a serial number that was mistyped for one that is known, and not about the one that is there too and is itself', () => {
    // S-3 is written on what is S-5, which is not in the run under its own number.
    expect(asked({ really: [0, 1, 4], injectors: 3 }, 502)).toEqual(['S-3 -> S-5']);
    // Where S-5 stands in the run as well, and agrees with itself, S-3 is not S-5.
    expect(asked({ really: [0, 1, 4, 3, 4, 5] }, 502)).toEqual([]);
  });

  it('asks about three that were exchanged in a circle, and not about one that comes near another which is neither itself nor exchanged', () => {
    expect(asked({ really: [1, 2, 0, 3, 4, 5] }, 506)).toEqual(['S-1 -> S-2', 'S-2 -> S-3', 'S-3 -> S-1']);
    const { first, second } = drawnJob({ really: [1, 0, 2, 3, 4, 5] }, normals(501));
    const [before, now] = [printedRun(first), printedRun(second)];
    // S-2 is something that nobody has seen before.
    const strange = new Map([...(now.prints.get('S-2') ?? [])].map(([place, { quantity, of }]) => [place, { quantity, of: { ...of, value: of.value * 1.2 } }] as const));
    expect(identityQuestions({ ...now, prints: new Map([...now.prints, ['S-2', strange]]) }, [before])).toEqual([]);
  });

  it('asks only among injectors of one type and of one order', () => {
    const { first, second } = drawnJob({ really: [1, 0, 2, 3, 4, 5] }, normals(503));
    const [now, before] = [printedRun(second), printedRun(first)];
    expect(identityQuestions(now, [before])).toHaveLength(2);
    const types = new Map([...before.types].map(([serial], i) => [serial, `T${i}`]));
    expect(identityQuestions({ ...now, types }, [{ ...before, types }])).toEqual([]);
    // S-2 was measured for another customer, who has nothing to do with this order.
    const only = (serial: string) => ({ types: new Map([[serial, 'T']]), prints: new Map([...before.prints].filter(([one]) => one === serial)) });
    const apart = [{ ...before, ...only('S-1') }, { ...before, id: 'of another', order: 'O-9', ...only('S-2') }];
    const aboutFirst = (run: typeof now) => identityQuestions(run, apart).filter(({ serialNumber }) => serialNumber === 'S-1');
    expect(aboutFirst(now)).toEqual([]);
    // S-2 itself is not in the run: what is written on it can be asked about alone.
    const prints = new Map([...now.prints].filter(([serial]) => serial !== 'S-2'));
    expect(aboutFirst({ ...now, prints })).toEqual([]);
    expect(aboutFirst({ ...now, prints, order: 'O-9' }).map(({ like, likeRun }) => [like, likeRun])).toEqual([['S-2', 'of another']]);
  });

  it('holds against the latest of each, and says nothing where too little was measured or it has no earlier result', () => {
    const { first, second } = drawnJob({ really: [1, 0, 2, 3, 4, 5] }, normals(504));
    const [before, now] = [printedRun(first), printedRun(second)];
    // Measured once more as it is: now it agrees with its own latest.
    expect(identityQuestions({ ...now, id: 'third' }, [before, now])).toEqual([]);
    expect(identityQuestions(now, [])).toEqual([]);
    const few = (run: typeof now) => ({ ...run, prints: new Map([...run.prints].map(([serial, print]) => [serial, new Map([...print].slice(0, 3))])) });
    expect(identityQuestions(few(now), [few(before)])).toEqual([]);
  });

  it('does not take an injector that wore for another, and says its question in words', () => {
    expect(asked({ really: [0, 1, 2, 3, 4, 5], wear: 6 }, 505)).toEqual([]);
    const words = questionWords({ serialNumber: 'A', ownRun: 'r1', like: 'B', likeRun: 'r2', places: 8, ownApart: 9.04, likeApart: 0.71 }, (run) => (run === 'r1' ? '1 Mar' : '2 Mar'));
    expect(words).toBe('Is A really B? At 8 places its results are those of B of 2 Mar (apart by 0.7 standard deviations) and not its own of 1 Mar (9.0). Look at the numbers on both injectors: they may be exchanged or mistyped.');
  });
});
