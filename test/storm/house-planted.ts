/** Faults of host, windows' lines and desk that the storm of the house must find. */
import { one as fault, type Planted } from './planted-fault.ts';

const one = (...args: Parameters<typeof fault>): Planted => ({ ...fault(...args), of: 'house' });

const host = 'main/host';
const service = 'main/service';

export const plantedInTheHouse: readonly Planted[] = [
  one('control is asked of nobody as long as a window holds it', host, 'if (wantsControl && holder !== window) {', 'if (wantsControl && holder === null) {'),
  one('a request to set the supply needs no control', 'app/contract', "'manual.supply': { control: true,", "'manual.supply': { control: false,"),
  one('a stop is taken from the window that holds control alone', host, "stop: (_params, window) => stop(", "stop: (_params, window) => sessions.holder !== window ? new Failed('not-in-control', 'Take control first.') : stop("),
  one('a stop leaves alone what is driven by hand', host, "    if (manual.isEngaged) void manual.makeSafe('STOP was pressed.');\n", ''),
  one(
    'windows are told before the commit', service, '    let committed: readonly RunEvent[] = [];',
    '    let committed: readonly RunEvent[] = [];\n    const { archive } = this.#parts;\n    if (output.events.length > 0) this.#tell(output.events, output.events.map((body, i) => ({ seq: (archive.run(this.id)?.status.events ?? 0) + i, at: this.#parts.clock.unixNow(), body })));',
  ),
  one('what the opening of a run wrote is told to nobody', host, "    tell('run.events', { id: service.id, events: [...committed] });\n", '    void committed;\n'),
  one('events of the journal are dropped for a slow window, and it is not cut off', host, "message.event === 'run.status')", "message.event === 'run.status' || message.event === 'run.events')"),
  one('a hello is answered twice', host, "    if (name === 'hello') this.#parts.welcome(window);", "    if (name === 'hello') this.#parts.welcome(window);\n    if (name === 'hello') window.send({ id, result: outcome });"),
  one('control stays with a window that has gone', host, '    if (this.#holder === window) {\n      this.#holder = null;', '    if (this.#holder === window) {'),
  one('a window that went without a word is not missed', host, 'const PINGS_MISSED = 3;', 'const PINGS_MISSED = 1e9;'),
  one('only the window that takes control is told of it', host, '    this.#holder = window;\n    this.#tellControl();', "    this.#holder = window;\n    window.send({ event: 'control', data: this.controlView(window) });"),
  one('a bench is let go of as it is', host, '    const safe = await at.manual.leave(why);', "    const safe = { accepted: true, reason: why };"),
  one('work by hand goes on without its window', host, "    await this.#bench.connected.manual.leave('The window that held control has gone.');\n", ''),
  one('the desk gives an answer to whoever asked last', host, 'const asked = this.#waiting.get(id);', 'const asked = [...this.#waiting.values()].at(-1);'),
  one('work by hand does not wait for a run that is held', host, "      case 'held':\n        return 'A run is going on. Pause it first.';", "        return 'A run is going on. Pause it first.';\n      case 'held':\n        return null;"),
  one('work by hand goes on beside a run whose archive failed', host, "    if (run?.isFailing === true) return '", "    if (this.#lastTold === '?') return '"),
  one('a bench that was left driven stays so when it is connected', host, "    if (manual.isFoundDriven) await manual.makeSafe('The bench was still driven when it was connected.');\n", ''),
];
