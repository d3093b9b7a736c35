/** The equipment record. */
import type { equipmentRequests } from '../../app/contract/equipment-requests.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import type { EquipmentAtHost } from './equipment-at-host.ts';
import { Failed, notGiven } from './outcome.ts';
import type { HandlersOf, HostRoom } from './host-room.ts';

export const equipmentHandlers = ({ records, given, desk }: HostRoom): HandlersOf<typeof equipmentRequests> => ({
  'equipment.read': () => {
    const record = records.record();
    return record instanceof Failed && record.failure.code === 'refused' ? null : record;
  },
  'equipment.save': (params) => records.save(params),
  'equipment.history': () => desk.text({ kind: 'equipment-history', today: records.today() }),
  'meter-checks.list': () => ofRecord(records, (equipment) => desk.text({ kind: 'meter-checks', equipment, today: records.today() })),
  'meter-check.try': ({ document }) => ofRecord(records, async (equipment) => {
    const judged = await desk.value({ kind: 'meter-check', document, equipment });
    return judged instanceof Failed ? judged : { problems: judged.problems, check: judged.check };
  }),
  'meter-check.add': ({ document }) => records.addMeterCheck(document),
  'equipment.read-certificate': ({ upload, ...params }) => {
    const text = given.take(upload);
    const equipment = records.record();
    if (text === null) return notGiven();
    return equipment instanceof Failed ? equipment : desk.text({ kind: 'certificate', params, text, equipment });
  },
});

/** With the equipment record that holds. */
async function ofRecord<T>(records: EquipmentAtHost, work: (equipment: Equipment) => Promise<T | Failed>): Promise<T | Failed> {
  const equipment = records.record();
  return equipment instanceof Failed ? equipment : work(equipment);
}
