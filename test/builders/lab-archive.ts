/** An archive as a lab has it: injectors, plans, equipment, meter checks, visits of an injector with photos and two runs of the real run service on the simulated bench. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { parseMeterCheck } from '../../app/meter-check/meter-check.ts';
import type { Plan } from '../../app/plan/plan.ts';
import { madePng } from '../../app/visit/photo.test-helper.ts';
import type { z } from 'zod';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { RunningBench } from '../../main/bench/running-bench.ts';
import { VirtualClock } from '../../main/clock/clock.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { SimulatedChannel } from '../../main/bench/simulated-channel.ts';
import { readSample } from '../../main/samples/samples.test-helper.ts';
import { RunService } from '../../main/service/run-service.ts';
import { sampleEquipment, samplePlan, withoutLeakChecks } from './in-process.ts';

function saved<T extends { readonly ok: boolean }>(result: T): Extract<T, { readonly ok: true }> {
  if (!result.ok) throw new Error((result as unknown as { readonly text: string }).text);
  return result as Extract<T, { readonly ok: true }>;
}

export async function makeLabArchive(file: string): Promise<void> {
  const clock = new VirtualClock(Date.UTC(2026, 1, 1));
  const { archive } = saved(openArchive(file, { now: () => clock.unixNow(), entropy: machineEntropy }));
  try {
    const plan = saved(archive.library.savePlan({ id: null, name: 'Small plan', document: readSample('small-plan'), by: 'Operator 1' })).value;
    saved(archive.library.savePlan({ id: plan.id, name: 'Small plan, again', document: readSample('small-plan'), by: 'Operator 2' }));
    const part = { order: 'Order 1', type: 'RH-P4', coilResistanceOhm: 14.5, condition: 'clean', channel: null };
    const parts = saved(archive.library.saveParts([{ ...part, serialNumber: 'RH4-0117' }, { ...part, serialNumber: 'RH4-0118' }])).value;
    saved(archive.library.saveParts([{ ...part, serialNumber: 'RH4-0117', id: parts[0]?.id, channel: 1, condition: 'dirty' }]));
    saved(archive.library.saveEquipment(readSample('equipment')));
    saved(archive.library.saveEquipment(sampleEquipment()));
    const spray = Buffer.from(madePng(20, 10));
    const photo = { media: 'image/png', width: 20, height: 10, shows: 'spray at 300 kPa', data: spray } as const;
    const visit = { visitVersion: 1, serialNumber: 'RH4-0117', type: 'RH-P4', order: 'Order 7', doneOn: '2026-02-01', by: 'A. Tester', visual: 'varnish on the nozzle', coil: { ohm: 12.3, expandedOhm: 0.02, celsius: 23, expandedKelvin: 1 }, insulation: null, leak: null, spray: 'one sided', remark: '', corrects: null } as const;
    saved(archive.visits.add({ ...visit, stage: 'as-found' }, [photo]));
    saved(archive.visits.add({ ...visit, stage: 'as-left', visual: 'clean', spray: 'even' }, [photo, { ...photo, data: Buffer.from(madePng(20, 10, 200)) }]));
    for (const staticFlowGPerMin of [230, 240]) saved(archive.records.save({ kind: 'injector type', name: 'RH-P4', by: 'Operator 1', document: { typeRecordVersion: 1, type: 'RH-P4', staticFlowGPerMin } }));
    const check = parseMeterCheck(JSON.parse(readFileSync(join(import.meta.dirname, '../../main/samples/meter-check.json'), 'utf8')));
    if (!check.ok) throw new Error('the sample of a meter check does not parse');
    for (let i = 0; i < 2; i += 1) saved(archive.meterChecks.add(check.check));
    // A noisy transducer for a while, so that an attempt is rejected.
    await measureInto(archive, clock, [{ begins: { atS: 10 }, forS: 6, fault: { kind: 'sensor-noisy', sensor: 'pressure', sd: 4000 } }]);
    await measureInto(archive, clock, []);
  } finally {
    archive.close();
    clock.stop();
  }
}

/** A run of the real run service on the simulated bench, from its start to its end. */
export async function measureInto(archive: Archive, clock: VirtualClock, faults: z.input<typeof scenarioSchema>['faults'], plan: Plan = samplePlan('small-plan', withoutLeakChecks)): Promise<void> {
  const bench = new RunningBench(scenarioSchema.parse({ scenarioVersion: 1, faults }), clock);
  const started = await RunService.open(
    { archive, clock, simulated: true, entropy: machineEntropy, freeDiskBytes: () => null, channels: () => Promise.resolve([new SimulatedChannel(bench)]) },
    { kind: 'new', plan, equipment: sampleEquipment(), operator: 'Operator 1', software: 'test' },
  );
  const { service } = saved(started);
  await service.rest();
  service.command({ kind: 'start' }, 'Operator 1');
  await service.rest();
  await service.close();
  bench.switchOff();
}
