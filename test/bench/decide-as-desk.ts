/** A process in which decisions are timed as the desk makes them: held to little memory, with room while it decides. Sends what `timedDecisions` gives. */
import { keepDeskSmall, withRoom } from '../../main/host/small-heap.ts';
import { timedDecisions } from './timed-decisions.ts';

keepDeskSmall();
process.send?.(timedDecisions(withRoom));
