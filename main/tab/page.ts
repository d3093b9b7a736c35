/** The page of the bench in a tab: starts the worker, gives the window its way to it, and says what this is. */
import type { FromPage, FromWorker } from './messages.ts';

/** What is used of a browser's page; the house's own types have no DOM. */
declare class Worker {
  constructor(url: URL, options: { readonly type: 'module' });
  postMessage(message: FromPage): void;
  onmessage: ((event: { readonly data: FromWorker }) => void) | null;
  onerror: ((event: { readonly message: string }) => void) | null;
}
interface Element {
  textContent: string | null;
  disabled: boolean;
  addEventListener(name: 'click', listener: () => void): void;
}
const page = globalThis as unknown as {
  readonly document: { getElementById(id: string): Element | null };
  railhouseHost: { post(message: unknown): void; listen(onMessage: (message: unknown) => void, onClose: (why: string) => void): () => void };
};

const part = (id: string): Element => {
  const found = page.document.getElementById(id);
  if (found === null) throw new Error(`The page has no ${id}.`);
  return found;
};
const said = part('tab-said');
const check = part('tab-check');

const worker = new Worker(new URL('./worker.ts', import.meta.url), { type: 'module' });
let ready = false;
const waiting: FromPage[] = [];
const tell = (message: FromPage): void => {
  if (ready) worker.postMessage(message);
  else waiting.push(message);
};
let ears: { readonly onMessage: (message: unknown) => void; readonly onClose: (why: string) => void } | null = null;

worker.onmessage = ({ data }) => {
  if (data.kind === 'ready') {
    ready = true;
    for (const message of waiting.splice(0)) worker.postMessage(message);
  } else if (data.kind === 'to-window') ears?.onMessage(data.message);
  else if (data.kind === 'seeded-run') {
    const { accepted, points, verified, head } = data.run;
    said.textContent = `${accepted} of ${points} points; its archive ${verified ? 'passes' : 'FAILS'} verify; SHA-256 over its journal ${head}. The program comes to the same with "npm run show -- seeded-run ${seed}".`;
    check.disabled = false;
  } else said.textContent = `This is a defect of the program: ${data.text}`;
};
worker.onerror = ({ message }) => {
  said.textContent = `The bench of this tab has ended: ${message}. Load the page again.`;
  ears?.onClose('The bench of this tab has ended. Load the page again.');
};

page.railhouseHost = {
  post: (message) => tell({ kind: 'to-host', message }),
  listen: (onMessage, onClose) => {
    ears = { onMessage, onClose };
    return () => {
      ears = null;
    };
  },
};

const seed = 7;
check.addEventListener('click', () => {
  check.disabled = true;
  said.textContent = 'A small run is being measured as fast as this machine can ...';
  tell({ kind: 'seeded-run', seed });
});
