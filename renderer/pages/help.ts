/** What each page is for and how to work with it, shown behind `?` (WIN-51). The pages stand in index.ts; every one has its entry here. */

export interface PageHelp {
  /** A sentence. */
  readonly what: string;
  /** In the order in which a day goes; each can be done on this page. */
  readonly steps: readonly string[];
}

export const help: Readonly<Record<string, PageHelp>> = {
  bench: {
    what: 'Connect a bench, see what it reads, and work on it by hand.',
    steps: [
      'Choose the bench: a serial port, or the simulated bench, which needs no hardware and behaves like a real one. Connecting drives nothing.',
      'Readings show pressure, supply, flow and temperatures as they come; old ones are marked.',
      'Work by hand sets supply and pressure and fires single bursts, within the limits of a run. Make safe ends it.',
      'For the simulated bench choose how fast its time goes and what goes wrong on it.',
    ],
  },
  injectors: {
    what: 'The injectors that you took in: order, type, serial number, coil resistance, and the channel where each is mounted.',
    steps: [
      'Scan or type one row for each. Enter goes to the next; job and type are carried down.',
      'Set the channel where it is mounted on the rail; only those are measured.',
      'Save. A plan takes the mounted ones from here.',
      'Life of an injector: record how it was found, cleaned and left, with photos; see every run of it and how it changed.',
    ],
  },
  plans: {
    what: 'A plan says what is measured: which injectors, at which voltages, pressures and pulse widths, and how often.',
    steps: [
      'Begin with a new plan, or open an earlier version.',
      'Fill in the values of each axis. The chart and the pre-flight sheet beside it follow as you type: points, duration, fluid, and what prevents a start.',
      'Save: each save is a new version, and earlier ones stay as they were.',
    ],
  },
  run: {
    what: 'Start a plan, watch it, and measure again what failed.',
    steps: [
      'Choose a plan and start. The run proves first that the controller switches off by itself when this program falls silent.',
      'The grid shows every point; open a cell for its attempts and why one was rejected.',
      'Mark cells and measure them again, also after the end. Earlier attempts are kept.',
      'After STOP, an abort or a lost program, open the run here and measure what is left.',
      'Film shows a run as it was at any instant: drag, play, or go from incident to incident. Nothing reaches the bench from there.',
    ],
  },
  results: {
    what: 'Dead time, flow and short-pulse correction of each injector, with the uncertainty of each and where it comes from.',
    steps: [
      'Choose a run, then injector and voltage. Each view has a chart and a table.',
      'Open an attempt to see its budget, or to leave it out with a reason; what was decided can be taken back.',
      'Compare two runs, write tables for a controller, or draft a report.',
    ],
  },
  sets: {
    what: 'Sets of alike injectors out of stock: from any runs of the archive, over jobs.',
    steps: ['Choose the runs whose injectors may be used, and how many a set has.', 'Say which figures are to be alike, and how near.', 'Look at what is proposed: each set with how far its injectors lie apart, and how sure that is.'],
  },
  journal: {
    what: 'Everything that happened in a run: who, what and when, and what the bench read meanwhile.',
    steps: [
      'Filter by kind, person or text.',
      'Choose an event to see the readings of its instant. Zoom and move along with mouse or keys.',
      'Keep the list as text or the drawing as a picture.',
    ],
  },
  reports: {
    what: 'Reports for the customer: issue, amend, time-stamp and prove them.',
    steps: ['Choose the run and say for whom the report is.', 'Issue it: it is numbered, signed, and bound to the archive.', 'Prove any report that comes back, with the archive or without.'],
  },
  equipment: {
    what: 'The instruments of the bench with their certificates, the fluid, the checks of the flow meter, and the types of injectors.',
    steps: ['Look at what ends soon or has ended.', 'Change a field with a reason; every version is kept.', 'Enter a catch-and-weigh check. It is worked out before it is kept.', 'Qualify the bench each day: six lines, read by the bench or typed. A plan may require that it holds.', 'Keep a record of each type of injector: new sweeps take its flow, limits and template.'],
  },
  quality: {
    what: 'The history of the reference injectors over all runs, with limits and signals.',
    steps: ['Choose the rules.', 'A signal leads to its run; look there for what changed.'],
  },
  archive: {
    what: 'All runs that were ever measured here, their files, and the proof that nothing was changed.',
    steps: ['Search by serial number, job, type or plan.', 'Choose a run to go to its results or journal, or to export it.', 'Check the archive, note its head on paper, and back it up.'],
  },
};
