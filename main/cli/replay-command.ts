/** A recorded conversation read back, or a plan run again against the recorded controller. */
import { Option, type Command } from 'commander';
import { decodeFromController, decodeFromHost } from '../../firmware-protocol/line/messages.ts';
import { VirtualClock } from '../clock/clock.ts';
import { isoTime } from '../clock/dating.ts';
import { machineEntropy } from '../clock/machine.ts';
import { ReplayChannel } from '../link/replay-channel.ts';
import { readTranscript, type Transcript } from '../link/transcript.ts';
import { samplePath } from '../samples/samples.ts';
import { RunService } from '../service/run-service.ts';
import { software } from '../service/software.ts';
import { equipmentFile, planFile } from './documents.ts';
import { drive } from './drive.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archivePlace } from './places.ts';
import { say, tell } from './say.ts';
import { Stop } from './stop.ts';

const at = (ms: number): string => `${(ms / 1000).toFixed(3).padStart(12)} s`;

/** A recorded conversation in figures and, line by line, what was asked and answered. */
function digest({ header, entries, torn }: Transcript, json: boolean): void {
  const held = { host: '', controller: '' };
  const counts = { telemetry: 0, request: 0, reply: 0, refusal: 0, unreadable: 0 };
  let last = 0;
  const put = (ms: number, from: 'host' | 'controller' | 'channel', text: string, understood = true): void => {
    if (json) printJson('replay', { kind: 'line', atS: ms / 1000, from, understood, text });
    else say(`${at(ms)}  ${from}${understood ? '' : ': line that says nothing'}${from === 'channel' ? ' ' : ': '}${text}`);
  };
  if (json) printJson('replay', { kind: 'recording', began: isoTime(header.startedUnixMs), channel: header.channel });
  else say(`Recorded ${isoTime(header.startedUnixMs)} over ${header.channel}`);
  for (const entry of entries) {
    last = entry.ms;
    if (entry.from === 'channel') {
      put(entry.ms, 'channel', `${entry.event}: ${entry.text}`);
      continue;
    }
    const lines = (held[entry.from] + entry.text).split('\n');
    held[entry.from] = lines.pop() ?? '';
    for (const line of lines.map((one) => one.replace(/\r$/u, ''))) {
      // LINE-2: it is no error; a host ends with it what may have stood on the wire before.
      if (line === '') continue;
      const said = entry.from === 'host' ? decodeFromHost(line) : decodeFromController(line);
      if (said.kind === 'bad' || said.kind === 'unfit') {
        counts.unreadable += 1;
        put(entry.ms, entry.from, line, false);
        continue;
      }
      counts[said.kind] += 1;
      const isHeartbeat = (said.kind === 'request' && said.request.word === 'alive') || (said.kind === 'reply' && said.reply.word === 'alive');
      if (said.kind !== 'telemetry' && !isHeartbeat) put(entry.ms, entry.from, line);
    }
  }
  if (json) {
    printJson('replay', { kind: 'sum', lengthS: last / 1000, requests: counts.request, replies: counts.reply, refusals: counts.refusal, telemetry: counts.telemetry, unreadable: counts.unreadable, torn });
    return;
  }
  if (torn) say('The last line of the transcript is torn: the recording host died while it wrote.');
  say(`${(last / 1000).toFixed(1)} s, ${counts.request} requests, ${counts.reply} replies, ${counts.refusal} refusals, ${counts.telemetry} telemetry frames, ${counts.unreadable} unreadable lines`);
}

interface ReplayOptions {
  readonly plan?: string;
  readonly equipment: string;
  readonly archive: string;
  readonly json?: true;
}

/** Runs a plan against the recorded controller, as the recording host did, and says where the two part. */
async function runAgainst(transcript: Transcript, options: ReplayOptions & { readonly plan: string }): Promise<void> {
  const plan = planFile(options.plan);
  const equipment = equipmentFile(options.equipment);
  if (plan.blind.percent > 0) tell('The plan has blind windows. Their secret shifts are drawn anew, so the replay parts from the recording where they are driven.');
  const clock = new VirtualClock(transcript.header.startedUnixMs);
  const archive = archivePlace(options.archive, 'write', clock);
  const channel = new ReplayChannel(transcript, clock);
  try {
    const opened = await RunService.open(
      { archive, clock, simulated: true, channels: () => Promise.resolve([channel]), entropy: machineEntropy, freeDiskBytes: () => null },
      { kind: 'new', plan, equipment, operator: 'replay', software },
    );
    if (!opened.ok) throw new Stop(exitCode.bench, opened.text);
    process.exitCode = await drive(opened.service, () => [{ kind: 'start' }], 'replay', {
      quiet: false,
      json: options.json === true,
      clock, waitForBench: 30, everyPoint: false, continueWith: 'a replay is not continued; record a new run', remainingWith: 'a replay is not continued; record a new run',
    });
    await opened.service.close();
    const { departures } = channel;
    if (options.json === true) {
      for (const { ms, kind, text } of departures) printJson('replay', { kind: 'departure', atS: ms / 1000, what: kind, text });
      printJson('replay', { kind: 'departures', count: departures.length });
    } else say(...departures.map(({ ms, text }) => `${at(ms)}  ${text}`), `${departures.length} departures from the recording`);
    if (departures.length > 0) process.exitCode = exitCode.checkFailed;
  } finally {
    archive.close();
    clock.stop();
  }
}

export function addReplayCommand(program: Command): void {
  withJsonOption(program.command('replay'))
    .description('read a recorded conversation back; with --plan, run that plan again against the recorded controller')
    .argument('<transcript>', 'file that --record wrote')
    .addOption(new Option('--plan <file>', 'the plan that was run when the transcript was recorded'))
    .addOption(new Option('--equipment <file>', 'the equipment record of that run').default(samplePath('equipment'), 'that of the simulated bench'))
    .addOption(new Option('--archive <file>', 'new archive for the replayed run').default('data/replay.sqlite'))
    .action(async (path: string, options: ReplayOptions) => {
      const read = await readTranscript(path);
      if (!read.ok) throw new Stop(exitCode.badInput, read.text);
      if (options.plan === undefined) digest(read.transcript, options.json === true);
      else await runAgainst(read.transcript, { ...options, plan: options.plan });
    });
}
