/**
 * What the two ends say to each other, as types. All numbers are integers in the unit that the field names, exactly as
 * they stand on the wire; `README.md` in this folder's parent is the specification.
 */

export type Request =
  /** Opens a conversation: forgets earlier sequence numbers. `token` is echoed, so that an old answer is not taken for this one. */
  | { readonly word: 'hello'; readonly token: string }
  | { readonly word: 'describe'; readonly topic: 'timing' | 'supply' | 'pressure' | 'safety' }
  /** Feeds the dead-man and nothing else. */
  | { readonly word: 'alive' }
  | { readonly word: 'deadman'; readonly ms: number }
  | { readonly word: 'telemetry'; readonly hz: number }
  | { readonly word: 'arm' }
  | { readonly word: 'safe' }
  | { readonly word: 'supply'; readonly mv: number }
  | { readonly word: 'pressure'; readonly pa: number }
  | {
      readonly word: 'burst';
      readonly channel: number;
      readonly widthNs: number;
      readonly periodUs: number;
      readonly count: number;
    }
  | { readonly word: 'halt' }
  | { readonly word: 'clear' };

export type Reply =
  | {
      readonly word: 'hello';
      readonly token: string;
      readonly protocol: number;
      readonly model: string;
      readonly serial: string;
      readonly firmware: string;
      readonly boot: string;
      readonly channels: number;
    }
  | {
      readonly word: 'describe';
      readonly topic: 'timing';
      readonly tickNs: number;
      readonly minWidthNs: number;
      readonly maxWidthNs: number;
      readonly minPeriodUs: number;
      readonly maxPeriodUs: number;
      readonly maxCount: number;
    }
  | {
      readonly word: 'describe';
      readonly topic: 'supply';
      readonly minMv: number;
      readonly maxMv: number;
      readonly safeMv: number;
    }
  | {
      readonly word: 'describe';
      readonly topic: 'pressure';
      readonly commandable: boolean;
      readonly minPa: number;
      readonly maxPa: number;
    }
  | {
      readonly word: 'describe';
      readonly topic: 'safety';
      readonly deadmanMinMs: number;
      readonly deadmanMaxMs: number;
      readonly telemetryMaxHz: number;
      /** Names in bit order. */
      readonly interlocks: readonly string[];
    }
  /** Every other request is answered with its own word; `burst` also with the number that the new burst got. */
  | { readonly word: 'burst'; readonly number: number; readonly widthNs: number }
  | { readonly word: Exclude<Request['word'], 'hello' | 'describe' | 'burst'> };

export interface Refusal {
  readonly word: Request['word'] | 'unknown';
  readonly code: string;
  readonly text: string;
}

export interface Telemetry {
  readonly atUs: number;
  readonly frame: number;
  readonly boot: string;
  readonly supplyMv: number;
  readonly currentMa: number;
  readonly pressurePa: number;
  readonly railMilliC: number;
  readonly meterMilliC: number;
  readonly edges: number;
  readonly lastEdgeUs: number;
  readonly burst: number;
  readonly active: boolean;
  readonly commanded: number;
  readonly done: number;
  readonly armed: boolean;
  /** '' when no fault is latched. */
  readonly fault: string;
  readonly interlocks: number;
}
