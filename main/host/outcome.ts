/** What becomes of a request of a window: a result, a result that is text already, or why it was not carried out. */
import type { Failure, ParsedParams, RequestName, AnswerTo, ToWindow } from '../../app/contract/contract.ts';
import type { NotKept } from '../archive/shelf.ts';
import type { StorageFailure } from '../archive/sqlite.ts';
import type { AsJson } from './as-json.ts';

/** A request that was not carried out, as a value. */
export class Failed {
  readonly failure: Failure;

  constructor(code: Failure['code'], text: string) {
    this.failure = { code, text };
  }
}

/** A result that is text already (HOST-20). */
export class Prepared<T> {
  readonly json: string;
  declare readonly of: T;

  constructor({ json }: AsJson<T>) {
    this.json = json;
  }
}

/** What goes to a window: a message of the contract, or the reply to a request with its result as JSON. */
export type HostMessage = ToWindow | { readonly id: number; readonly json: string };

/** The message as the text that a window receives. */
export const messageText = (message: HostMessage): string => ('json' in message ? `{"id":${message.id},"result":${message.json}}` : JSON.stringify(message));

type Answer<N extends RequestName> = AnswerTo<N> | Prepared<AnswerTo<N>> | Failed;
type Handler<N extends RequestName, Window> = (params: ParsedParams<N>, window: Window) => Answer<N> | Promise<Answer<N>>;
/** How each request of the contract is carried out. */
export type Handlers<Window> = { readonly [N in RequestName]: Handler<N, Window> };

export const noBench = (): Failed => new Failed('no-bench', 'No bench is connected. Nothing was done. Connect a bench first.');
export const notGiven = (): Failed => new Failed('bad-request', 'The file did not come, or not whole. Choose it again.');
export const notOpen = (): Failed => new Failed('no-run', 'This run is not open on the bench. Nothing was done. Open it with continue first.');

export function notSaved(failure: NotKept | StorageFailure): Failed {
  return new Failed(failure.code === 'refused' ? 'bad-request' : 'archive', failure.text);
}
