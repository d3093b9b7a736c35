import { mkdtempSync, readFileSync, rmSync, writeFileSync, appendFileSync, writeSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { VirtualClock, wait } from '../clock/clock.ts';
import type { Channel, ChannelEvents } from './channel.ts';
import { readTranscript, recordedChannel, TranscriptRecorder } from './transcript.ts';

let folder: string;
let path: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'transcript-'));
  path = join(folder, 'line.jsonl');
});
afterEach(() => {
  rmSync(folder, { recursive: true });
});

test('any bytes come back as they went in, from a file of plain ASCII', async () => {
  let number = 0;
  await fc.assert(
    fc.asyncProperty(fc.array(fc.tuple(fc.constantFrom('host', 'controller'), fc.uint8Array({ maxLength: 300 }))), async (pieces) => {
      const file = join(folder, `${(number += 1)}.jsonl`);
      const recorder = new TranscriptRecorder(file, 'a wire – in a test', new VirtualClock(1_700_000_000_000));
      for (const [from, bytes] of pieces) recorder.bytes(from, bytes);
      recorder.close();
      expect(readFileSync(file).every((byte) => byte === 10 || (byte >= 32 && byte < 127))).toBe(true);
      const read = await readTranscript(file);
      if (!read.ok) throw new Error(read.text);
      expect(read.transcript.header).toEqual({ transcriptVersion: 1, channel: 'a wire – in a test', startedUnixMs: 1_700_000_000_000 });
      expect(read.transcript.torn).toBe(false);
      expect(read.transcript.entries).toEqual(
        pieces.map(([from, bytes]) => ({ ms: 0, from, text: Buffer.from(bytes).toString('latin1') })),
      );
    }),
    { numRuns: 50 },
  );
});

test('a recorded channel behaves as the channel does, and the record has both directions with their times', async () => {
  const clock = new VirtualClock(0);
  let events: ChannelEvents | null = null;
  const written: Uint8Array[] = [];
  const inner: Channel = {
    description: 'inner',
    open: (given) => {
      events = given;
      return Promise.resolve({ ok: true });
    },
    write: (bytes) => written.push(bytes),
    close: () => Promise.resolve(),
  };
  const recorder = new TranscriptRecorder(path, inner.description, clock);
  const channel = recordedChannel(inner, recorder);
  const heard: Uint8Array[] = [];
  const closed: string[] = [];
  await channel.open({ onBytes: (bytes) => heard.push(bytes), onClosed: (reason) => closed.push(reason) });
  await wait(clock, 10);
  channel.write(Buffer.from('? out\n'));
  await wait(clock, 2.5);
  const { onBytes, onClosed } = events as unknown as ChannelEvents;
  onBytes(Buffer.from('= in\n'));
  onClosed('pulled');
  recorder.close();
  clock.stop();
  expect([written.length, heard.length, closed]).toEqual([1, 1, ['pulled']]);
  const read = await readTranscript(path);
  expect(read).toMatchObject({
    ok: true,
    transcript: {
      entries: [
        { ms: 0, from: 'channel', event: 'opened', text: 'inner' },
        { ms: 10, from: 'host', text: '? out\n' },
        { ms: 12.5, from: 'controller', text: '= in\n' },
        { ms: 12.5, from: 'channel', event: 'closed', text: 'pulled' },
      ],
    },
  });
});

test('what is held back before writing is bounded', () => {
  const recorder = new TranscriptRecorder(path, 'a', new VirtualClock(0));
  const line = Buffer.alloc(1000, 'x');
  for (let i = 1; i <= 200; i += 1) {
    recorder.bytes('controller', line);
    expect(i * 1000 - readFileSync(path).length).toBeLessThan(34_000);
  }
  recorder.close();
});

test('a torn last line is left out and told; damage elsewhere is an error with its line', async () => {
  const recorder = new TranscriptRecorder(path, 'a', new VirtualClock(0));
  recorder.bytes('host', Buffer.from('one'));
  recorder.bytes('host', Buffer.from('two'));
  recorder.close();
  const whole = readFileSync(path, 'latin1');
  writeFileSync(path, whole.slice(0, -8));
  expect(await readTranscript(path)).toMatchObject({ ok: true, transcript: { torn: true, entries: [{ text: 'one' }] } });
  appendFileSync(path, '\n{"ms":0,"from":"host","text":"three"}\n');
  const damaged = await readTranscript(path);
  expect(damaged).toMatchObject({ ok: false });
  if (!damaged.ok) expect(damaged.text).toContain('line 3');
});

test.each([
  ['empty', '', 'empty'],
  ['of another kind', '{"plan":1}\n', 'not a transcript of version 1'],
  ['of a newer version', '{"transcriptVersion":2,"channel":"a","startedUnixMs":0}\n', 'not a transcript of version 1'],
  ['with an unknown entry', '{"transcriptVersion":1,"channel":"a","startedUnixMs":0}\n{"ms":0,"from":"moon","text":""}\n', 'line 2'],
])('a file that is %s is refused with a sentence', async (_, content, says) => {
  writeFileSync(path, content);
  const read = await readTranscript(path);
  expect(read.ok).toBe(false);
  if (!read.ok) expect(read.text).toContain(says);
});

test('a file that is not there is refused with a sentence', async () => {
  const read = await readTranscript(join(folder, 'missing.jsonl'));
  expect(read).toMatchObject({ ok: false });
});

test('a full disk ends the recording, not the run, and what was written before stays readable', async () => {
  let room = 40_000;
  const recorder = new TranscriptRecorder(path, 'a', new VirtualClock(0), (file, bytes, at) => {
    if (room === 0) throw new Error('ENOSPC: no space left on device, write');
    const written = writeSync(file, bytes, at, Math.min(room, bytes.length - at));
    room -= written;
    return written;
  });
  for (let i = 0; i < 100; i += 1) recorder.bytes('host', Buffer.alloc(1000, 'x'));
  expect(recorder.failure).toContain('ENOSPC');
  recorder.close();
  const read = await readTranscript(path);
  expect(read).toMatchObject({ ok: true, transcript: { torn: true } });
  if (read.ok) expect(read.transcript.entries.length).toBeGreaterThan(30);
});

test('what is recorded is on the disk a second later at most, and not line by line', async () => {
  const clock = new VirtualClock(0);
  await wait(clock, 10_000);
  const recorder = new TranscriptRecorder(path, 'a', clock);
  for (let i = 0; i < 9; i += 1) {
    recorder.bytes('host', Buffer.from('x'));
    await wait(clock, 100);
  }
  expect(readFileSync(path)).toHaveLength(0);
  await wait(clock, 100);
  recorder.bytes('host', Buffer.from('x'));
  expect(readFileSync(path, 'latin1').split('\n')).toHaveLength(12);
  recorder.close();
  clock.stop();
});

test('a recorder that is closed takes nothing more, and may be closed again', () => {
  const recorder = new TranscriptRecorder(path, 'a', new VirtualClock(0));
  recorder.close();
  const whole = readFileSync(path);
  recorder.bytes('host', Buffer.alloc(100_000, 'x'));
  recorder.close();
  expect(recorder.failure).toBeNull();
  expect(readFileSync(path)).toEqual(whole);
});

test('a channel that did not open is not recorded as opened, and one that the host closes is recorded as closed by it', async () => {
  const clock = new VirtualClock(0);
  const recorder = new TranscriptRecorder(path, 'a', clock);
  const results = [{ ok: false, code: 'absent', text: 'gone' }, { ok: true }] as const;
  let tries = 0;
  let closed = 0;
  const channel = recordedChannel({
    description: 'inner',
    open: () => Promise.resolve(results[tries++ === 0 ? 0 : 1]),
    write: () => undefined,
    close: () => Promise.resolve(void (closed += 1)),
  }, recorder);
  const events: ChannelEvents = { onBytes: () => undefined, onClosed: () => undefined };
  expect([await channel.open(events), await channel.open(events)]).toEqual(results);
  await wait(clock, 5);
  await channel.close();
  recorder.close();
  clock.stop();
  expect(closed).toBe(1);
  expect(await readTranscript(path)).toMatchObject({ ok: true, transcript: { entries: [
    { ms: 0, from: 'channel', event: 'opened', text: 'inner' },
    { ms: 5, from: 'channel', event: 'closed', text: 'by the host' },
  ] } });
});

test('times of a transcript count from its beginning, whatever the clock says then', async () => {
  const clock = new VirtualClock(0);
  await wait(clock, 700);
  const recorder = new TranscriptRecorder(path, 'a', clock);
  await wait(clock, 12.3456);
  recorder.bytes('host', Buffer.from('x'));
  recorder.close();
  clock.stop();
  expect(await readTranscript(path)).toMatchObject({ ok: true, transcript: { header: { startedUnixMs: 700 }, entries: [{ ms: 12.346 }] } });
});

test('after the first failure nothing more is written: a record has no gap in it', () => {
  let fails = true;
  const written: string[] = [];
  const recorder = new TranscriptRecorder(path, 'a', new VirtualClock(0), (_, bytes, at) => {
    if (fails) throw new Error('EIO');
    written.push(Buffer.from(bytes.subarray(at)).toString('latin1'));
    return bytes.length - at;
  });
  for (let i = 0; i < 40; i += 1) recorder.bytes('host', Buffer.alloc(1000, 'x'));
  const first = recorder.failure;
  fails = false;
  for (let i = 0; i < 80; i += 1) recorder.bytes('host', Buffer.alloc(1000, 'y'));
  recorder.close();
  expect(written.join('')).toBe('');
  expect(recorder.failure).toBe(first);
  expect(first).toContain('EIO');
});
