/** The storm of the whole house: host, windows, desk and people. */
import { drawHouse, houseHappenings, withHouseHappenings, type HouseDrawn, type HouseHappening } from './house-draw.ts';
import { houseJudges } from './house-judges.ts';
import { HouseWorld, type HouseEvidence } from './house-world.ts';
import type { StormOf } from './storm-of.ts';

export const stormOfTheHouse: StormOf<HouseDrawn, HouseEvidence> = {
  draw: drawHouse,
  happenings: houseHappenings,
  withHappenings: (drawn, list) => withHouseHappenings(drawn, list as readonly HouseHappening[]),
  run: (drawn) => new HouseWorld(drawn).run(),
  judges: houseJudges,
  events: ({ runs }) => runs.flatMap(({ events }) => events),
};
