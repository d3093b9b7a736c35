/**
 * A controller that breaks the rules of the line: what it says, and when, while its plant stays as it is. Deterministic. Only the
 * simulated controller has it; a bench that does any of this must not be believed by a host.
 */
import { sealLine } from '../line/codec.ts';
import { encodeTelemetry, type Telemetry } from '../line/messages.ts';
import type { Fault } from './plant/scenario.ts';

export type Misbehaviour = Extract<Fault['fault'], { kind: 'controller-misbehaves' }>['how'];
type What = Misbehaviour['what'];

const BOOT_OF_ANOTHER = '0badb007';
const SERIAL_OF_ANOTHER = 'SIM-ANOTHER';

export class Misbehaviours {
  readonly #active = new Set<Misbehaviour>();
  /** The frame that waits to be overtaken by the next. */
  #waiting: Telemetry | null = null;
  #stands: Telemetry | null = null;

  get none(): boolean {
    return this.#active.size === 0;
  }

  begin(how: Misbehaviour): void {
    this.#active.add(how);
    this.#stands = null;
  }

  end(how: Misbehaviour): void {
    this.#active.delete(how);
    this.#stands = null;
    this.#waiting = null;
  }

  #find<W extends What>(what: W): Extract<Misbehaviour, { what: W }> | undefined {
    for (const how of this.#active) if (how.what === what) return how as Extract<Misbehaviour, { what: W }>;
    return undefined;
  }

  /** Time between frames, us. */
  interval(us: number): number {
    const flood = this.#find('frames-flood');
    return flood === undefined ? us : Math.min(us, 1e6 / flood.hz);
  }

  serial(serial: string): string {
    return this.#find('serial-other') === undefined ? serial : SERIAL_OF_ANOTHER;
  }

  /** The channel that is driven in place of `channel`. */
  driven(channel: number): number {
    return this.#find('channel-mixed')?.with ?? channel;
  }

  /** The channel that `echo` states. */
  echoed(channel: number): number {
    const mixed = this.#find('channel-mixed');
    return mixed?.echoed === true ? mixed.with : channel;
  }

  /** The width that a reply states and that is driven, us. */
  width(us: number): number {
    return us * (1 + (this.#find('width-not-kept')?.percent ?? 0) / 100);
  }

  /** How late an answer is, us. */
  get lateUs(): number {
    return (this.#find('replies-late')?.s ?? 0) * 1e6;
  }

  /** An answer as it is said. */
  answer(line: string): string {
    return this.#find('replies-unreadable') === undefined || !line.startsWith('=') ? line : withoutAField(line);
  }

  /** The lines that are said in place of a frame. */
  frames(frame: Telemetry): readonly string[] {
    const told = this.#told(frame);
    if (this.#find('frames-absent') !== undefined) return [];
    if (this.#find('frames-unreadable') !== undefined) return [withoutAField(encodeTelemetry(told))];
    if (this.#find('frames-doubled') !== undefined) return [encodeTelemetry(told), encodeTelemetry(told)];
    if (this.#find('frames-swapped') !== undefined) {
      const waiting = this.#waiting;
      this.#waiting = waiting === null ? told : null;
      return waiting === null ? [] : [encodeTelemetry(told), encodeTelemetry(waiting)];
    }
    return [encodeTelemetry(told)];
  }

  #told(frame: Telemetry): Telemetry {
    const told: { -readonly [K in keyof Telemetry]: Telemetry[K] } = { ...frame };
    this.#stands ??= frame;
    for (const how of this.#active) {
      switch (how.what) {
        case 'clock-back':
          told.atUs = Math.max(0, told.atUs - Math.round(how.s * 1e6));
          told.lastEdgeUs = Math.max(0, told.lastEdgeUs - Math.round(how.s * 1e6));
          break;
        case 'clock-ahead':
          told.atUs += Math.round(how.s * 1e6);
          told.lastEdgeUs += told.edges === 0 ? 0 : Math.round(how.s * 1e6);
          break;
        case 'clock-stands':
          told.atUs = this.#stands.atUs;
          told.lastEdgeUs = Math.min(told.lastEdgeUs, told.atUs);
          break;
        case 'edges-back':
          told.edges = Math.max(0, told.edges - how.edges);
          break;
        case 'edge-time-back':
          told.lastEdgeUs = Math.max(0, told.lastEdgeUs - Math.round(how.s * 1e6));
          break;
        case 'edge-time-ahead':
          told.lastEdgeUs += Math.round(how.s * 1e6);
          break;
        case 'edges-doubled':
          told.edges += told.edges - this.#stands.edges;
          break;
        case 'values-stand':
          if (how.sensor === 'pressure') told.pressurePa = this.#stands.pressurePa;
          else if (how.sensor === 'rail-temperature') told.railMilliC = this.#stands.railMilliC;
          else told.meterMilliC = this.#stands.meterMilliC;
          break;
        case 'supply-offset':
          told.supplyMv += how.mv;
          break;
        case 'boot-id-other':
          told.boot = BOOT_OF_ANOTHER;
          break;
        case 'pulses-overcounted':
          if (told.active) told.done = told.commanded + 1;
          break;
        case 'pulses-undercounted':
          told.done = Math.floor(told.done * (1 - how.percent / 100));
          break;
        default:
          break;
      }
    }
    return told;
  }
}

/** The same line without the last field of its body, its checksum right: a line that is heard and not understood (`form`). */
function withoutAField(line: string): string {
  const body = line.slice(0, line.lastIndexOf(' #'));
  const at = body.lastIndexOf(' ');
  return sealLine(body.split(' ').length > 3 ? body.slice(0, at) : `${body} of=nothing`);
}
