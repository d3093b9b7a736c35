import { beforeEach, describe, expect, test } from 'vitest';
import type { ToHost } from '../../app/contract/contract.ts';
import { Connection } from './connection.ts';
import type { Carrier, Ears } from './connection.ts';

const hello = {
  software: 'test', archivePath: '/a', bench: { state: 'absent', why: '' }, control: { mine: true, holder: 'me', windows: 1 }, openRun: null, manual: null, now: 0,
};

/** A host whose line the test opens, cuts and answers, and a clock that only the test moves. */
class TestHost {
  ears: Ears | null = null;
  said: ToHost[] = [];
  dialled = 0;
  now = 0;
  timers: { readonly due: number; readonly action: () => void; on: boolean }[] = [];

  readonly open = (ears: Ears): Carrier => {
    this.ears = ears;
    this.dialled += 1;
    return { send: (message) => void this.said.push(message), close: () => ears.onClose('closed') };
  };

  readonly connection = new Connection({
    open: this.open,
    name: () => 'me',
    timers: {
      after: (ms, action) => {
        const timer = { due: this.now + ms, action, on: true };
        this.timers.push(timer);
        return () => {
          timer.on = false;
        };
      },
    },
  });

  pass(ms: number): void {
    this.now += ms;
    for (const timer of this.timers.filter(({ due, on }) => on && due <= this.now)) {
      timer.on = false;
      timer.action();
    }
  }

  up(): void {
    this.ears?.onOpen();
    this.answer('hello', hello);
  }

  /** Answers the latest request of this name. */
  answer(name: string, result: unknown): void {
    const asked = this.said.findLast((message) => message.name === name);
    this.ears?.onMessage({ id: asked?.id, result });
  }
}

let host: TestHost;
beforeEach(() => {
  host = new TestHost();
  host.connection.start();
});
const names = (): string[] => host.said.map(({ name }) => name);

describe('a conversation', () => {
  test('begins with hello; questions that waited follow it', async () => {
    const list = host.connection.request('plans.list', {});
    expect(names()).toEqual([]);
    host.up();
    expect(names()).toEqual(['hello', 'plans.list']);
    expect(host.connection.line.state).toBe('up');
    host.answer('plans.list', []);
    expect(await list).toEqual({ ok: true, value: [] });
  });

  test('hands on the reason of the host, and says so when an answer is not as agreed', async () => {
    host.up();
    const refused = host.connection.request('plans.list', {});
    host.ears?.onMessage({ id: host.said.at(-1)?.id, failure: { code: 'archive', text: 'Busy.' } });
    expect(await refused).toEqual({ ok: false, failure: { code: 'archive', text: 'Busy.' } });
    const wrong = host.connection.request('plans.list', {});
    host.answer('plans.list', [{ id: 7 }]);
    expect(await wrong).toMatchObject({ ok: false, failure: { code: 'defect' } });
    expect(host.connection.misread).toBe(1);
  });

  test('delivers events that are as agreed, counts those that are not, and passes over names of a newer host', () => {
    host.up();
    const heard: unknown[] = [];
    host.connection.on('control', (data) => heard.push(data));
    host.ears?.onMessage({ event: 'control', data: { mine: false, holder: 'other', windows: 2 } });
    host.ears?.onMessage({ event: 'control', data: { mine: 'yes' } });
    host.ears?.onMessage({ event: 'from-the-future', data: 1 });
    host.ears?.onMessage('noise');
    expect(heard).toEqual([{ mine: false, holder: 'other', windows: 2 }]);
    expect(host.connection.misread).toBe(2);
  });

  test('an answer that does not come is a failure in bounded time, and a late one is dropped', async () => {
    host.up();
    const list = host.connection.request('plans.list', {});
    host.pass(30_000);
    expect(await list).toMatchObject({ ok: false, failure: { code: 'gone' } });
    expect(() => host.answer('plans.list', [])).not.toThrow();
  });
});

describe('a host that is gone', () => {
  test('is looked for again, at longer and longer intervals up to five seconds, and what is asked meanwhile waits', async () => {
    host.up();
    host.ears?.onClose('Bye.');
    expect(host.connection.line).toMatchObject({ state: 'gone' });
    for (const pause of [250, 500, 1000, 2000, 4000, 5000, 5000]) {
      const before = host.dialled;
      host.pass(pause - 1);
      expect(host.dialled).toBe(before);
      host.pass(1);
      expect(host.dialled).toBe(before + 1);
      host.ears?.onClose('Still not there.');
    }
    const list = host.connection.request('plans.list', {});
    host.pass(5000);
    host.up();
    host.answer('plans.list', []);
    expect(await list).toEqual({ ok: true, value: [] });
    host.ears?.onClose('Bye again.');
    const before = host.dialled;
    host.pass(250);
    expect(host.dialled).toBe(before + 1);
  });

  test('a question on its way is asked again; of a command it is said that nobody knows', async () => {
    host.up();
    const list = host.connection.request('plans.list', {});
    const burst = host.connection.request('manual.burst', { channel: 1, widthMs: 1, periodMs: 10, count: 5 });
    host.ears?.onClose('Bye.');
    expect(await burst).toMatchObject({ ok: false, failure: { code: 'gone' } });
    host.pass(250);
    host.up();
    expect(names().filter((name) => name === 'manual.burst')).toHaveLength(1);
    host.answer('plans.list', []);
    expect(await list).toEqual({ ok: true, value: [] });
  });

  test('a command is refused at once and never sent later', async () => {
    expect(await host.connection.request('manual.supply', { volts: 12 })).toMatchObject({ ok: false, failure: { code: 'gone' } });
    host.up();
    expect(names()).toEqual(['hello']);
  });

  test('a stop waits and is sent before all else', async () => {
    void host.connection.request('plans.list', {});
    const stop = host.connection.request('stop', {});
    host.up();
    expect(names()).toEqual(['hello', 'stop', 'plans.list']);
    host.answer('stop', { accepted: true, reason: '' });
    expect(await stop).toMatchObject({ ok: true });
  });

  test('no more than a bounded number of questions wait; a stop still finds room', async () => {
    const waiting = Array.from({ length: 100 }, () => host.connection.request('plans.list', {}));
    const stop = host.connection.request('stop', {});
    expect(await waiting[99]).toMatchObject({ ok: false, failure: { code: 'gone' } });
    host.up();
    expect(names().length).toBeLessThanOrEqual(65);
    expect(names()[1]).toBe('stop');
    host.answer('stop', { accepted: true, reason: '' });
    expect(await stop).toMatchObject({ ok: true });
  });

  test('that takes the line but does not answer is hung up on and dialled anew', () => {
    host.ears?.onOpen();
    host.pass(10_000);
    expect(host.connection.line.state).toBe('gone');
    host.pass(250);
    expect(host.dialled).toBe(2);
    host.up();
    expect(host.connection.line.state).toBe('up');
  });

  test('after closing nothing is opened any more', () => {
    host.up();
    host.connection.close();
    host.pass(60_000);
    expect(host.dialled).toBe(1);
  });
});
