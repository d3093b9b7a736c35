/** A host on an archive of its own, with windows that the test speaks for. */
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { events, requests, toWindow, type EventData, type EventName, type Failure, type Params, type RequestName, type AnswerTo, type ToWindow } from '../../app/contract/contract.ts';
import { openArchive, type Archive } from '../archive/archive.ts';
import { machineClock, machineEntropy } from '../clock/machine.ts';
import { benchPlaces, type BenchPlaces } from './bench-place.ts';
import { Desk } from './desk.ts';
import { deskProcess } from './desk-process.ts';
import { Host } from './host.ts';
import { messageText } from './outcome.ts';
import type { HostClient } from './sessions.ts';
import { serialPortSource } from '../link/serial-ports.ts';

export type Answer<N extends RequestName> = { readonly ok: true; readonly value: AnswerTo<N> } | { readonly ok: false; readonly failure: Failure };

/** One window: everything that reaches it is parsed by the contract, as the real one does. */
export class TestWindow {
  readonly heard: { readonly event: EventName; readonly data: unknown }[] = [];
  readonly #client: HostClient;
  readonly #waiting = new Map<number, (message: ToWindow) => void>();
  readonly #watchers = new Set<() => void>();
  #nextId = 0;

  constructor(host: Host) {
    this.#client = host.attach((message) => {
      // As over a wire.
      this.#hear(toWindow.parse(JSON.parse(messageText(message))));
    });
  }

  async ask<N extends RequestName>(name: N, params: Params<N>): Promise<Answer<N>> {
    const message = await this.raw({ id: this.#nextId, name, params });
    if ('failure' in message) return { ok: false, failure: message.failure };
    if (!('result' in message)) throw new Error('an event in place of a reply');
    return { ok: true, value: requests[name].result.parse(message.result) as AnswerTo<N> };
  }

  /** The value of a reply; a failure fails the test. */
  async get<N extends RequestName>(name: N, params: Params<N>): Promise<AnswerTo<N>> {
    const answer = await this.ask(name, params);
    if (!answer.ok) throw new Error(`${name}: ${answer.failure.code}: ${answer.failure.text}`);
    return answer.value;
  }

  /** The files of an export by name, read piece by piece as a page does. */
  async exported(id: string): Promise<ReadonlyMap<string, string>> {
    const made = await this.get('run.export', { id });
    const texts = new Map<string, string>();
    for (const { name } of made.files) {
      let whole = '';
      for (let from: number | null = 0; from !== null; ) {
        const piece: AnswerTo<'export.piece'> = await this.get('export.piece', { export: made.export, file: name, from });
        whole += piece.text;
        from = piece.next;
      }
      texts.set(name, whole);
    }
    return texts;
  }

  raw(message: { readonly id: number; readonly [more: string]: unknown }): Promise<ToWindow> {
    this.#nextId = message.id + 1;
    return new Promise((resolve) => {
      this.#waiting.set(message.id, resolve);
      this.#client.receive(JSON.parse(JSON.stringify(message)));
    });
  }

  send(message: unknown): void {
    this.#client.receive(message);
  }

  of<N extends EventName>(name: N): EventData<N>[] {
    return this.heard.flatMap(({ event, data }) => (event === name ? [data as EventData<N>] : []));
  }

  /** Resolves with the first event, heard already or to come, that fulfils the condition. */
  until<N extends EventName>(name: N, condition: (data: EventData<N>) => boolean): Promise<EventData<N>> {
    return new Promise((resolve) => {
      let seen = 0;
      const look = (): void => {
        for (; seen < this.heard.length; seen += 1) {
          const one = this.heard[seen];
          if (one?.event !== name || !condition(one.data as EventData<N>)) continue;
          this.#watchers.delete(look);
          resolve(one.data as EventData<N>);
          return;
        }
      };
      this.#watchers.add(look);
      look();
    });
  }

  /** What is heard from here on. */
  forget(): void {
    this.heard.length = 0;
  }

  close(): void {
    this.#client.close();
  }

  #hear(message: ToWindow): void {
    if ('event' in message) {
      const event = message.event as EventName;
      this.heard.push({ event, data: events[event].parse(message.data) });
      for (const watcher of [...this.#watchers]) watcher();
      return;
    }
    const waiting = this.#waiting.get(message.id);
    this.#waiting.delete(message.id);
    waiting?.(message);
  }
}

export interface TestHost {
  readonly host: Host;
  readonly archive: Archive;
  readonly folder: string;
  readonly defects: unknown[];
  readonly activity: boolean[];
  /** What the machine lists beside a port that is not there. */
  readonly ports: string[];
  /** A window that has said hello; the first holds control. */
  window(name?: string): Promise<TestWindow>;
  /** Ends the host as a killed process does: nothing is made safe. Then another may be opened on the folder. */
  end(): Promise<void>;
}

export function archiveFolder(): string {
  return mkdtempSync(join(existsSync('/dev/shm') ? '/dev/shm' : tmpdir(), 'railhouse-host-'));
}

export function testHost(folder: string, places: BenchPlaces = benchPlaces(machineClock, machineEntropy, serialPortSource)): TestHost {
  const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => machineClock.unixNow(), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  const { archive } = opened;
  const defects: unknown[] = [];
  const activity: boolean[] = [];
  const ports: string[] = [];
  const host = new Host({
    archive,
    software: 'test 1',
    clock: machineClock,
    entropy: machineEntropy,
    places,
    freeDiskBytes: () => 1e12,
      serialPorts: () => Promise.resolve([{ path: '/dev/ttyTEST0', manufacturer: 'Maker' }, ...ports.map((path) => ({ path }))]),
      desk: new Desk(deskProcess(archive.path, new URL('./desk-worker.ts', import.meta.url), 'like-the-host'), machineClock),
    onDefect: (error) => defects.push(error),
    onActivity: (active) => activity.push(active),
  });
  return {
    host,
    archive,
    folder,
    defects,
    activity,
    ports,
    window: async (name = 'first') => {
      const window = new TestWindow(host);
      await window.get('hello', { name });
      return window;
    },
    end: async () => {
      await host.close();
      archive.close();
    },
  };
}

export const removeFolder = (folder: string): void => rmSync(folder, { recursive: true, force: true });
