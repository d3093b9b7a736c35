/**
 * What is done when the process that shows the page dies or hangs (HOST-32): which event leads to which action. The host and the
 * run on it live elsewhere and are not concerned.
 */

export type PageEvent =
  /** Its process has ended, for whatever reason. */
  | { readonly kind: 'gone' }
  | { readonly kind: 'unresponsive' }
  | { readonly kind: 'responsive' }
  /** The time is over that an earlier action of this watch asked for. */
  | { readonly kind: 'waited' }
  /** A person wants to see it once more. */
  | { readonly kind: 'shown-again' };

export type PageAction =
  | { readonly kind: 'nothing' }
  /** Give `waited` after this time. */
  | { readonly kind: 'wait'; readonly ms: number }
  /** End its process; `gone` follows, or else give `waited` after this time. */
  | { readonly kind: 'end-process'; readonly ms: number }
  | { readonly kind: 'load-anew' }
  /** It would only fail again: a person is told natively. */
  | { readonly kind: 'give-up'; readonly times: number };

/** A page that hangs for a moment (a long computation, a debugger) comes back by itself. */
const HANGS_MS = 5000;
const ENDS_WITHIN_MS = 5000;
/** As many new processes within this time; a fault that comes back at once would flicker for ever. */
const MOST_ANEW = 3;
const WITHIN_MS = 10 * 60_000;

const nothing: PageAction = { kind: 'nothing' };

export class PageWatch {
  #state: 'shown' | 'hangs' | 'ending' | 'given-up' = 'shown';
  #anew: number[] = [];

  /** `now`: monotonic, ms. */
  take({ kind }: PageEvent, now: number): PageAction {
    switch (kind) {
      case 'unresponsive':
        if (this.#state !== 'shown') return nothing;
        this.#state = 'hangs';
        return { kind: 'wait', ms: HANGS_MS };
      case 'responsive':
        if (this.#state === 'hangs') this.#state = 'shown';
        return nothing;
      case 'waited':
        if (this.#state === 'ending') return this.#loadAnew(now);
        if (this.#state !== 'hangs') return nothing;
        this.#state = 'ending';
        return { kind: 'end-process', ms: ENDS_WITHIN_MS };
      case 'gone':
        return this.#state === 'given-up' ? nothing : this.#loadAnew(now);
      case 'shown-again':
        this.#anew = [];
        return this.#loadAnew(now);
    }
  }

  #loadAnew(now: number): PageAction {
    this.#anew = this.#anew.filter((at) => now - at < WITHIN_MS);
    if (this.#anew.length >= MOST_ANEW) {
      this.#state = 'given-up';
      return { kind: 'give-up', times: this.#anew.length + 1 };
    }
    this.#anew.push(now);
    this.#state = 'shown';
    return { kind: 'load-anew' };
  }
}
