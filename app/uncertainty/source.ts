/**
 * The sources of error that this house knows: what each is an error of, whose it is, how it is called and what it means. A value
 * that is computed from others carries these, so that one error that several share is one error (JCGM 100:2008, 5.2 and F.1.2).
 * RED-64.
 */

/**
 * Whose error it is. An instrument's is the same wherever that instrument measured under the same certificate; the last five
 * belong to one window, one injector or one run (RED-65).
 */
export type ErrorOwner =
  | 'meter'
  | 'pressure transducer'
  | 'thermometer'
  | 'rail'
  | 'supply'
  | 'wiring'
  | 'drivers'
  | 'controller clock'
  | 'fluid'
  /** A constant of the physics that is used: the same in every run. */
  | 'coil model'
  | 'coil'
  | 'leak'
  | 'window'
  | 'scatter'
  | 'interpolation'
  | 'balance'
  /** What a layout adds: the customer's statements, and steps of his controller. */
  | 'tables';

interface KnownSource {
  readonly owner: ErrorOwner;
  /** Its name in budgets, tables and files; from the place where there are several. */
  readonly label: string | ((place: string) => string);
  /** For somebody who has never seen a budget: a sentence. */
  readonly meaning: string;
  /** Where the size of it was taken from, where no certificate says so. */
  readonly statement?: string;
  /** A bound that is known, and nothing else: errors anywhere below it are alike. What is estimated from data is none. RED-89. left-in: an error of known size that is not taken off. RED-145 */
  readonly shape?: 'rectangular' | 'left-in';
}

const known = {
  'edge-timing': {
    owner: 'window',
    label: 'edge timing',
    meaning: 'The clock of the controller counts whole microseconds at the first and the last meter edge.',
    statement: 'one tick (1 us) of the clock of the controller at either end, rectangular',
  },
  steadiness: {
    owner: 'window',
    label: 'steadiness and meter in-rotation',
    meaning: 'How much equal parts of the window differ: flow that was not steady, and the meter inside one revolution.',
    statement: 'scatter of equal parts of this window',
  },
  'k-factor': { owner: 'meter', label: 'meter K-factor', meaning: 'How well the certificate knows the volume that one meter edge stands for.' },
  /** Place: frequency, Hz. */
  'k-factor-point': { owner: 'meter', label: (hertz) => `meter K-factor at ${hertz} Hz`, meaning: 'How well the certificate knows this point of the curve by itself.' },
  /** Place: the interval between two points of the certificate, or beyond its last. */
  'k-factor-curve': {
    owner: 'meter',
    label: (place) => `meter K-factor curve, ${place}`,
    meaning: 'What the curve of the meter may do between two points of its certificate, or beyond the last.',
    statement: 'each point of the certificate left out and told by its neighbours; beyond the last point the change of the curve there, an estimate',
  },
  'fluid-density': { owner: 'fluid', label: 'fluid density', meaning: 'How well the density of this lot is known.' },
  'rail-pressure': { owner: 'pressure transducer', label: 'rail pressure', meaning: 'How far the pressure transducer may read off.' },
  'pressure-while-open': {
    owner: 'rail',
    label: 'rail pressure while open',
    meaning: 'How far the pressure lies below its mean while the injector is open: the rail gives fluid before it is filled again.',
    statement: 'bound of the equipment record, in a line as far as its bend leaves it, or what the compliance of the rail allows at the most; rectangular',
    shape: 'rectangular',
  },
  'meter-temperature': { owner: 'thermometer', label: 'meter temperature', meaning: 'How far the thermometer in the meter may read off; it gives the density there.' },
  'rail-temperature': {
    owner: 'thermometer',
    label: 'rail temperature',
    meaning: 'How far the thermometer on the rail may read off; it gives the density in the injector and the coil temperature.',
  },
  /** Place: number of the block. */
  leak: {
    owner: 'leak',
    label: (block) => `leak in block ${block}`,
    meaning: 'How well it is known what leaked past the injector on average over this block; the mean is subtracted.',
    statement: 'meter edges while nothing was driven: zero points and idle time of the run (or the period pair, where nothing else was looked at)',
  },
  /** Place: numbers of block and injector. */
  'leak-change': {
    owner: 'leak',
    label: (place) => `leak change in block ${place}`,
    meaning: 'How far the leak may have stood from its mean while this injector was measured.',
    statement: 'what the leak may have moved between the zero points beside the block, rectangular',
  },
  'leak-meter': {
    owner: 'leak',
    label: 'slip of the meter at the flow of the leak',
    meaning: 'How far the meter may be off at a flow as small as that of the leak.',
    statement: 'slip of the meter below the lowest flow of its certificate, an estimate; where zero points and period pair contradict each other, their difference',
  },
  /** Place: number of the injector. Does the leak go through its own seat? Reductions carry it by the line (RED-44). */
  'leak-path': {
    owner: 'leak',
    label: (injector) => `leak path of injector ${injector}`,
    meaning: 'Whether the leak goes through the seat of this injector, which leaks nothing while it is open.',
    statement: 'all of the leak at most, while the injector was open; an estimate',
  },
  'supply-read-back': { owner: 'supply', label: 'supply read-back', meaning: 'How far the read-back of the supply may be off; a lower voltage opens later.' },
  'supply-inside-pulse': {
    owner: 'supply',
    label: 'supply inside the pulse',
    meaning: 'How far the supply sags behind its read-back while the coil draws its current; a lower voltage opens later.',
    statement: 'bound of the equipment record, half of it taken off; where it states none, up to 60 mohm of leads and contacts, an estimate, of which nothing is taken off; rectangular',
    shape: 'rectangular',
  },
  'supply-loss': {
    owner: 'supply',
    label: 'loss of the supply inside the pulse',
    meaning: 'How well it is known what the supply loses while a coil draws its current, where it was read inside pulses; a lower voltage opens later.',
    statement: 'scatter of the readings inside pulses about what their currents lose, and the uncertainty of the read-back once more',
  },
  'harness-resistance': {
    owner: 'wiring',
    label: 'harness resistance',
    meaning: 'How well the resistance between supply and coil is known; what is lost on the way opens later.',
  },
  'harness-effect': { owner: 'wiring', label: 'effect of the harness', meaning: 'How well it is known what that resistance does to the dead time.' },
  'driver-clamp': {
    owner: 'drivers',
    label: 'driver clamp',
    meaning: 'How well the clamp of all drivers is known; a higher clamp lets go earlier, and the dead time is longer.',
  },
  /** Place: the channel. */
  'driver-clamp-channel': {
    owner: 'drivers',
    label: (channel) => `driver clamp of channel ${channel}`,
    meaning: 'How far the clamp of this driver channel may be off by itself.',
  },
  /** Not a term of a mass per pulse: an error of the controller's second is in the window and in the period alike. */
  'time-base': {
    owner: 'controller clock',
    label: 'controller time base',
    meaning: 'How well the clock of the controller keeps time: pulses may all be a little longer than they were told to be.',
  },
  'coil-model': { owner: 'coil model', label: 'coil temperature model', meaning: 'How well it is known what a warmer coil does to the dead time.' },
  'coil-over-rail': { owner: 'coil', label: 'coil against rail temperature', meaning: 'How far the coil may be from the temperature of the rail.' },
  'coil-late': {
    owner: 'coil',
    label: 'coil that follows duty late',
    meaning: 'The coil warms with longer pulses, but only slowly; so the widths of one line may have had different coil temperatures.',
  },
  /** Place: the type of the injectors. */
  'sweep-lag': {
    owner: 'scatter',
    label: (type) => `coils of type ${type} late by sweeps up and down`,
    meaning: 'Sweeps up the widths and sweeps down found different dead times: the coils follow their duty late.',
    statement: 'the difference of the dead times of sweeps up and down, beyond what scatter explains',
  },
  /** Place: the type of the injectors. */
  'coil-memory': {
    owner: 'scatter',
    label: (type) => `coils of type ${type} late by what was before`,
    meaning: 'How well it is known how warm a watt makes the coils and how late they follow; what each window was late by is taken off.',
    statement: 'the plan, and the distances of windows from their lines after longer and shorter pulses',
  },
  /** Place: the type of the injectors, pressure and period. */
  'line-definition': {
    owner: 'scatter',
    label: (place) => `which widths make the line, ${place}`,
    meaning: 'Mass bends over the whole line, so dead time and slope depend on the widths that the line goes through (GUM D.3.4).',
    statement: 'the bend of all lines of the type, beyond what scatter explains, and how far another choice of widths would move the result',
  },
  /** One for all of a run, with its sign: what is measured at other times is off by another part of it. */
  'bench-course': {
    owner: 'scatter',
    label: 'drift of the bench, not taken off',
    meaning: 'How far the whole bench stood from its mean over the run when this was measured, as its reference point tells it.',
    statement: 'the course of the reference point; an error of known size, left in (GUM F.2.4.5)',
    shape: 'left-in',
  },
  /** Place: the pressure, and whether the injectors were held open. One for all that was measured together. */
  'bench-drift': {
    owner: 'scatter',
    label: (place) => `drift of the bench, ${place}`,
    meaning: 'What its reference point does not tell of how far the whole bench stood from its mean over the run when this was measured.',
    statement: 'scatter of the reference point, and what the bench went by from one reference point to the next',
  },
  /** Place: the line, or the lines that share a slope. */
  'line-slope': { owner: 'scatter', label: (line) => `slope of ${line}`, meaning: 'Scatter of the masses about the line: its slope.' },
  'line-height': { owner: 'scatter', label: (line) => `height of ${line}`, meaning: 'Scatter of the masses about the line: its height at the middle.' },
  /** Place: the width and the line. */
  'width-mass': { owner: 'scatter', label: (place) => `mass at ${place}`, meaning: 'Scatter of the windows of this width.' },
  /** Place: the injector and the pressure. */
  'static-flow': { owner: 'scatter', label: (place) => `static flow of ${place}`, meaning: 'Scatter of the windows with this injector held open.' },
  /** Place: the axis. Taken as one for a whole table, because neighbouring curves bend alike. */
  interpolation: { owner: 'interpolation', label: (axis) => `interpolation over ${axis}`, meaning: 'What the curve between measured places may miss.' },
  /** Place: a width of a line. */
  'bend-begins': {
    owner: 'scatter',
    label: (place) => `whether pulses bend yet at ${place}`,
    meaning: 'A width that lies off its line by no more than scatter could do may lie on it.',
    statement: 'chance that the bend has begun there, from all widths of the cell',
  },
  'bend-steepness': {
    owner: 'interpolation',
    label: (place) => `steepness of the bend at ${place}`,
    meaning: 'Where the dead time was referred to other conditions the bend of short pulses moved along, by as much as it is steep.',
    statement: 'three tenths of what it moved, an estimate',
  },
  bounce: {
    owner: 'interpolation',
    label: (place) => `needle that bounces at ${place}`,
    meaning: 'Where the needle hardly reaches its stop it bounces between the measured widths, so how steep the curve is there is not known.',
    statement: 'up to 1.6 times the slope of the line, by injectors of many sizes, over what the dead time was referred by and may be off, and over the distance to the next measured width',
  },
  'orifice-law': {
    owner: 'interpolation',
    label: 'law of the orifice',
    meaning: 'How well flow follows the root of the pressure, from the pressure that was measured to another.',
    statement: 'exponent 0.5 within 0.02, rectangular; common practice',
    shape: 'rectangular',
  },
  'pressure-effect': {
    owner: 'interpolation',
    label: 'pressure effect of the type',
    meaning: 'How well it is known what the pressure does to the dead times of this type.',
    statement: 'the plan',
  },
  /** Place: the nuisance. */
  invariance: {
    owner: 'window',
    label: (nuisance) => `invariance: ${nuisance}`,
    meaning: 'The same number came out differently under a changed nuisance; the result may be off by as much.',
    statement: 'difference found by the invariance set, rectangular',
  },
  // Of tables on a customer's layout.
  'wiring-drop': { owner: 'tables', label: 'wiring drop', meaning: 'How well the customer knows what is lost between battery and injector.', statement: 'the layout' },
  /** Place: the table and its cell. */
  rounding: {
    owner: 'tables',
    label: (cell) => `step of the controller, ${cell}`,
    meaning: 'The number was rounded to a whole step of the controller.',
    statement: 'half a step, rectangular (JCGM 100:2008, F.2.2.1)',
    shape: 'rectangular',
  },
  /** Place: the quantity and the fluid. */
  'other-fluid': {
    owner: 'tables',
    label: (what) => `estimate for another fluid: ${what}`,
    meaning: 'What another fluid does to this was not measured.',
    statement: 'densities as stated; what viscosity does, an estimate',
  },
  // Of numbers that others stated.
  'stated-elsewhere': { owner: 'tables', label: (name) => `stated elsewhere: ${name}`, meaning: 'What another laboratory states of its own result.', statement: 'its certificate' },
  'stated-bound': { owner: 'tables', label: (name) => `bound stated elsewhere: ${name}`, meaning: 'What another laboratory states of its own result.', statement: 'its certificate', shape: 'rectangular' },
  // Of a meter check, which weighs what the meter counts.
  'edge-count': { owner: 'window', label: 'edge count', meaning: 'Either end of the count may cut the length of an edge anywhere.' },
  balance: { owner: 'balance', label: 'balance', meaning: 'How far the difference of two readings of the balance may be off.' },
  evaporation: { owner: 'balance', label: 'evaporation', meaning: 'How well it is known what evaporated from the vessel.' },
  'start-stop': { owner: 'window', label: 'start and stop', meaning: 'The count and the vessel do not begin and end at exactly the same instant.' },
  'stored-volume': { owner: 'window', label: 'volume between meter and vessel', meaning: 'Hoses and valve may hold a little more or less fluid after the run than before.' },
  'balance-drift': { owner: 'balance', label: 'balance drift', meaning: 'How far the balance may wander between its two readings.' },
  'vessel-gas': {
    owner: 'balance',
    label: 'gas in the vessel',
    meaning: 'The liquid pushes gas out of the vessel, and gas with vapour in it is heavier than air.',
    statement: 'from dry air to saturated with n-heptane (4.7 kPa at 20 degC), rectangular, where the check does not say',
  },
  'air-density': { owner: 'balance', label: 'air density', meaning: 'How well the buoyancy of the weighed liquid is known.' },
  'meter-pressure': { owner: 'balance', label: 'meter pressure', meaning: 'How far the pressure in the meter may be off during the check.' },
} satisfies Readonly<Record<string, KnownSource>>;

export type ErrorQuantity = keyof typeof known;

const table: Readonly<Record<ErrorQuantity, KnownSource>> = known;

/** Whether it is one that this version knows; files may name others. */
export const isErrorQuantity = (name: string): name is ErrorQuantity => Object.hasOwn(known, name);

/** One source of error. */
export interface ErrorSource {
  readonly quantity: ErrorQuantity;
  /** Which of several: a point of the K-curve, a block, a channel, a line. Empty: there is one. */
  readonly place: string;
  /** Sources of one key are one error; of two, two independent ones. */
  readonly key: string;
}

/** A source as one run knows it. */
export function errorSource(quantity: ErrorQuantity, place = ''): ErrorSource {
  return { quantity, place, key: place === '' ? quantity : `${quantity} ${place}` };
}

export const ownerOf = ({ quantity }: ErrorSource): ErrorOwner => table[quantity].owner;

/** As budgets, tables and files call it. */
export function labelOf({ quantity, place }: ErrorSource): string {
  const { label } = table[quantity];
  return typeof label === 'string' ? label : label(place);
}

export const meaningOf = ({ quantity }: ErrorSource): string => table[quantity].meaning;

export const isRectangular = ({ quantity }: ErrorSource): boolean => table[quantity].shape === 'rectangular';

export const isLeftIn = ({ quantity }: ErrorSource): boolean => table[quantity].shape === 'left-in';

/** Where its size was taken from; null: a certificate or a record says so. */
export const statementOf = ({ quantity }: ErrorSource): string | null => table[quantity].statement ?? null;
