/** Injectors over runs. */
import type { injectorRequests } from '../../app/contract/injector-requests.ts';
import { notGiven } from './outcome.ts';
import type { HandlersOf, HostRoom } from './host-room.ts';

export const injectorHandlers = ({ given, desk }: HostRoom): HandlersOf<typeof injectorRequests> => ({
  'reference.history': (params) => desk.text({ kind: 'references', params }),
  'sets.match': (params) => desk.text({ kind: 'match', params }),
  'run.compare': ({ upload, ...params }) => {
    const text = given.take(upload);
    return text === null ? notGiven() : desk.text({ kind: 'compare', params, text });
  },
  'types.spread': (params) => desk.text({ kind: 'spread', params }),
});
