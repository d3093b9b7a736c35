/** The life of an injector. */
import type { lifeRequests } from '../../app/contract/life-requests.ts';
import { keepVisit } from './visits-at-host.ts';
import type { HandlersOf, HostRoom } from './host-room.ts';

export const lifeHandlers = ({ parts: { archive, clock }, given, desk }: HostRoom): HandlersOf<typeof lifeRequests> => ({
  'injector.life': (params) => desk.text({ kind: 'life', params }),
  'run.recognise': (params) => desk.text({ kind: 'recognise', params }),
  'visits.add': (params) => keepVisit({ archive, given, clock }, params),
  'visits.photo': (params) => desk.text({ kind: 'photo', params }),
});
