/** What must stand in each column of each file of an export (EXP-6): by itself, or against the other columns of its line. */

export type Row = Readonly<Record<string, string>>;
/** null: as it must be; else what it must be. */
type Check = (row: Row, value: string) => string | null;

const as = (what: string, holds: (row: Row, value: string) => boolean): Check => (row, value) => (holds(row, value) ? null : what);
/** A number that is there; NaN for an empty field, so that nothing holds of it. */
const of = (row: Row, name: string): number => (row[name] === undefined || row[name] === '' ? Number.NaN : Number(row[name]));
const near = (a: number, b: number): boolean => Math.abs(a - b) <= 1e-9 * Math.max(1e-6, Math.abs(a), Math.abs(b));

/** Or empty. */
const maybe = (check: Check): Check => (row, value) => (value === '' ? null : check(row, value));
const text = as('a text', (_, value) => value !== '');
const number = as('a number', (_, value) => value !== '' && Number.isFinite(Number(value)));
const positive = as('a number above 0', (_, value) => Number(value) > 0);
const notNegative = as('a number, 0 or more', (_, value) => value !== '' && Number(value) >= 0);
const count = as('a whole number, 0 or more', (_, value) => /^\d+$/.test(value));
const from1 = as('a whole number from 1', (_, value) => /^[1-9]\d*$/.test(value));
const oneOf = (...words: readonly string[]): Check => as(`one of ${words.join(', ')}`, (_, value) => words.includes(value));
const sources = as('point:attempt, counted from 1', (_, value) => /^[1-9]\d*:[1-9]\d*( [1-9]\d*:[1-9]\d*)*$/.test(value));
const day = as('a date', (_, value) => /^\d{4}-\d\d-\d\d$/.test(value));
const equal = (what: string, other: (row: Row) => number): Check => as(what, (row, value) => value !== '' && near(Number(value), other(row)));
/** There, or a reason in missing_because, and not both. */
const orReason = (check: Check): Check => (row, value) => ((value === '') === (row['missing_because'] !== '') ? maybe(check)(row, value) : 'a value, or a reason in missing_because');
/** Empty where nothing was driven. */
const ifDriven = (check: Check): Check => (row, value) => (row['role'] === 'zero' ? (value === '' ? null : 'empty, because nothing was driven') : check(row, value));
const expanded = (k: string, random: string, shared: string): Check => equal(`${k} times the root of the sum of the squares of ${random} and ${shared}`, (row) => of(row, k) * Math.hypot(of(row, random), of(row, shared)));

const place = {
  role: oneOf('measure', 'reference', 'zero', 'static', 'look', 'pair', 'invariance', 'blind'),
  injector_serial: ifDriven(text), injector_type: ifDriven(text), channel: ifDriven(from1),
  supply_V: positive, pressure_kPa: positive, PW_ms: ifDriven(positive),
  P_ms: ifDriven(as('no shorter than PW_ms', (row, value) => Number(value) >= of(row, 'PW_ms'))),
  replicate: from1,
};
const inWindow = as('inside the window', (row, value) => Number(value) >= of(row, 'window_from_s') && Number(value) <= of(row, 'window_to_s'));
/** Of the simulated bench at rest: near what was set, or what a room has. */
const around = (low: number, high: number): Check => as(`between ${low} and ${high}`, (_, value) => Number(value) > low && Number(value) < high);

const result: Readonly<Record<string, Check>> = {
  value: orReason(number), U95: maybe(positive), coverage_factor: maybe(around(1.9, 13)),
};

/** In the order in which they were thought of; the order of the file is the README's (EXP-1). */
export const columnChecks: Readonly<Record<string, Readonly<Record<string, Check>>>> = {
  'attempts.csv': {
    point: from1, attempt: from1,
    ended_at_utc: as('ISO 8601 in UTC', (_, value) => new Date(value).toISOString() === value),
    verdict: oneOf('accepted', 'rejected', 'cut'),
    counts: as('true of accepted attempts only', (row, value) => value === 'false' || (value === 'true' && row['verdict'] === 'accepted')),
    ...place,
    window_from_s: notNegative, window_to_s: as('after window_from_s', (row, value) => Number(value) > of(row, 'window_from_s')),
    frames: count, missing_frames: count, pulses: as('0 where nothing is driven', (row, value) => /^\d+$/.test(value) && (row['role'] === 'zero') === (value === '0')), meter_edges: count,
    first_edge_s: inWindow, last_edge_s: as('not before first_edge_s', (row, value) => Number(value) >= of(row, 'first_edge_s') && inWindow(row, value) === null),
    idle_before_s: maybe(notNegative), idle_before_edges: as('there with idle_before_s', (row, value) => (value === '') === (row['idle_before_s'] === '')),
    pressure_mean_kPa: as('within 3 % of pressure_kPa', (row, value) => Math.abs(Number(value) / of(row, 'pressure_kPa') - 1) < 0.03), pressure_sd_kPa: notNegative,
    supply_mean_V: as('within 1 % of supply_V', (row, value) => Math.abs(Number(value) / of(row, 'supply_V') - 1) < 0.01), supply_sd_V: notNegative,
    current_mean_A: around(-0.1, 5), current_sd_A: notNegative,
    rail_temperature_mean_C: around(10, 40), rail_temperature_sd_K: around(0, 1), meter_temperature_mean_C: around(10, 40), meter_temperature_sd_K: around(0, 1),
    // The bench of the test reads the supply inside pulses; at a zero point there are none.
    supply_in_pulse_mean_V: as('below supply_mean_V by the millivolts that a coil takes, and empty at zero points', (row, value) => (row['role'] === 'zero' ? value === '' : Math.abs(Number(value) - of(row, 'supply_mean_V')) < 0.02 && value !== '')),
    supply_in_pulse_sd_V: as('there with supply_in_pulse_mean_V', (row, value) => (value === '') === (row['supply_in_pulse_mean_V'] === '') && Number(value) >= 0),
    failed_criteria: as('there of rejected attempts only, by rule and reading', (row, value) => (value === '') === (row['verdict'] !== 'rejected') && (value === '' || /^RUN-\d+: /.test(value))),
    text,
  },
  'masses.csv': {
    point: from1, attempt: from1, ...place,
    Qd_mg: orReason(as('mass as measured, referred, leak taken off', (row, value) => near(Number(value), of(row, 'Qd_as_measured_mg') * of(row, 'factor_to_plan_pressure') * of(row, 'factor_to_reference_temperature')) || Math.abs(Number(value) / of(row, 'Qd_as_measured_mg') - 1) < 0.05)),
    Qd_as_measured_mg: maybe(positive), leak_taken_off_mg: maybe(notNegative),
    factor_to_plan_pressure: maybe(around(0.98, 1.02)), factor_to_reference_temperature: maybe(around(0.98, 1.02)),
    meter_Hz: maybe(positive), K_factor_per_L: maybe(around(30_000, 60_000)), density_at_meter_kg_per_m3: maybe(around(670, 700)),
    u_random_percent: maybe(as('no less than its parts', (row, value) => Number(value) >= of(row, 'u_steadiness_percent') * (1 - 1e-9))),
    u_shared_percent: maybe(as('no less than its parts', (row, value) => Number(value) >= Math.hypot(of(row, 'u_K_factor_percent'), of(row, 'u_K_curve_percent'), of(row, 'u_density_percent')) * (1 - 1e-9))),
    u_edge_timing_percent: maybe(positive), u_steadiness_percent: maybe(positive), u_K_factor_percent: maybe(positive), u_K_curve_percent: maybe(notNegative), u_density_percent: maybe(positive),
    u_pressure_percent: maybe(around(0, 0.5)), u_meter_temperature_percent: maybe(around(0, 0.5)), u_rail_temperature_percent: maybe(around(0, 0.5)), u_leak_percent: maybe(notNegative),
    missing_because: maybe(text),
  },
  'budgets.csv': {
    point: from1, attempt: from1, input: text, value: number, unit: as('a unit, or none', () => true), u: positive, sensitivity_mg_per_unit: number,
    contribution_mg: equal('|sensitivity| times u', (row) => Math.abs(of(row, 'sensitivity_mg_per_unit')) * of(row, 'u')),
    contribution_percent: positive, share_of_variance_percent: as('a part of 100', (_, value) => Number(value) >= 0 && Number(value) <= 100 + 1e-9),
    random_or_shared: oneOf('random', 'shared'), type: oneOf('A', 'B'), dof: maybe(as('of type A only', (row, value) => Number(value) > 0 && row['type'] === 'A')),
    from: text, certificate: as('there with its date', (row, value) => (value === '') === (row['certificate_date'] === '')), certificate_date: maybe(day),
    certificate_valid_until: maybe(as('a date after certificate_date', (row, value) => value > (row['certificate_date'] ?? ''))),
  },
  'lines.csv': {
    injector_serial: text, supply_V: positive, pressure_kPa: positive, P_ms: positive,
    X_ms: orReason(around(0.1, 3)), X_U95_ms: maybe(expanded('X_coverage_factor', 'X_u_random_ms', 'X_u_shared_ms')),
    X_low95_ms: maybe(as('below X_ms', (row, value) => Number(value) < of(row, 'X_ms'))), X_high95_ms: maybe(as('above X_ms', (row, value) => Number(value) > of(row, 'X_ms'))), X_interval: maybe(text),
    X_u_random_ms: maybe(positive), X_u_shared_ms: maybe(positive), X_coverage_factor: maybe(around(1.9, 13)), X_effective_dof: maybe(positive),
    m_mg_per_ms: orReason(positive), m_U95_mg_per_ms: maybe(expanded('m_coverage_factor', 'm_u_random_mg_per_ms', 'm_u_shared_mg_per_ms')),
    m_u_random_mg_per_ms: maybe(positive), m_u_shared_mg_per_ms: maybe(positive), m_coverage_factor: maybe(around(1.9, 13)), m_effective_dof: maybe(positive),
    covariance_random_mg: maybe(as('within what the two parts allow (Cauchy and Schwarz)', (row, value) => Math.abs(Number(value)) <= of(row, 'X_u_random_ms') * of(row, 'm_u_random_mg_per_ms') * (1 + 1e-9))),
    covariance_shared_mg: maybe(as('within what the two parts allow (Cauchy and Schwarz)', (row, value) => Math.abs(Number(value)) <= of(row, 'X_u_shared_ms') * of(row, 'm_u_shared_mg_per_ms') * (1 + 1e-9))),
    m_from: maybe(text), Qs_over_m: maybe(around(0.9, 1.1)), Qs_over_m_U95: maybe(positive),
    LFR: maybe(as('1 or more', (_, value) => Number(value) >= 1)), LFR_limit_percent: maybe(positive), LFR_from_PW_ms: maybe(positive), LFR_reenters_at_PW_ms: maybe(as('widths below LFR_from_PW_ms', (row, value) => value.split(' ').every((width) => Number(width) < of(row, 'LFR_from_PW_ms')))),
    repeatable_from_PW_ms: maybe(positive), X_leak_taken_off_ms: maybe(number), X_leak_u_ms: as('there with X_leak_taken_off_ms', (row, value) => (value === '') === (row['X_leak_taken_off_ms'] === '')), measure_again_because: maybe(text),
    linear_from_PW_ms: maybe(positive), linear_to_PW_ms: maybe(as('above linear_from_PW_ms', (row, value) => Number(value) > of(row, 'linear_from_PW_ms'))), linear_ends_because: maybe(text),
    lack_of_fit: maybe(oneOf('true', 'false')), windows: as('as many as sources', (row, value) => Number(value) === (row['sources_point_attempt'] ?? '').split(' ').filter((one) => one !== '').length),
    sources_point_attempt: maybe(sources), missing_because: maybe(text),
  },
  'leak.csv': {
    block: from1, supply_V: positive, pressure_kPa: positive, leak_ml_per_min: number, u_mean_ml_per_min: positive, u_meter_ml_per_min: notNegative, change_ml_per_min: number, u_change_ml_per_min: notNegative,
    zero_points_point_attempt: sources, idle_s: notNegative, idle_edges: count, attempts: from1,
  },
  'static-flow.csv': {
    injector_serial: text, pressure_kPa: positive, supply_V: orReason(positive), Qs_g_per_s: orReason(positive),
    Qs_U95_g_per_s: maybe(expanded('coverage_factor', 'u_random_g_per_s', 'u_shared_g_per_s')), coverage_factor: maybe(around(1.9, 13)), u_random_g_per_s: maybe(positive), u_shared_g_per_s: maybe(positive),
    Qs_g_per_min: maybe(equal('60 times Qs_g_per_s', (row) => 60 * of(row, 'Qs_g_per_s'))),
    // An international avoirdupois pound is 0.453 592 37 kg exactly (NIST SP 811, B.8).
    Qs_lb_per_h: maybe(equal('Qs_g_per_s in pounds an hour', (row) => (of(row, 'Qs_g_per_s') * 3600) / 453.592_37)),
    Qs_cc_per_min: maybe(equal('Qs_g_per_min over the density', (row) => (of(row, 'Qs_g_per_min') / of(row, 'density_of_cc_kg_per_m3')) * 1000)),
    density_of_cc_kg_per_m3: maybe(around(670, 700)), sources_point_attempt: orReason(sources), missing_because: maybe(text),
  },
  'tables.csv': {
    quantity: text, unit: oneOf('ms', 'mg/ms'), pressure_kPa: positive, P_ms: positive, supply_V: positive, column: text, ...result,
    low95: maybe(as('below value', (row, value) => Number(value) < of(row, 'value'))), high95: maybe(as('above value', (row, value) => Number(value) > of(row, 'value'))),
    sources_point_attempt: maybe(sources), missing_because: maybe(text),
  },
  'maps.csv': {
    quantity: text, unit: oneOf('ms', 'mg/ms', 'mg'), of: text, at: maybe(text), P_ms: positive, supply_V: positive, across: text, across_unit: oneOf('kPa', 'ms'), across_value: positive, ...result,
    effective_dof: maybe(positive), basis: maybe(oneOf('measured', 'interpolated', 'estimated', 'extrapolated', 'unresolved')), missing_because: maybe(text),
  },
  'curves.csv': {
    injector_serial: text, pressure_kPa: positive, P_ms: positive, supply_V: positive, a_ms: orReason(number), tau_ms: maybe(positive), Vp_V: maybe(as('below supply_V', (row, value) => Number(value) < of(row, 'supply_V'))),
    a_u_ms: maybe(positive), tau_u_ms: maybe(positive), Vp_u_V: maybe(positive), residual_ms: maybe(around(-0.1, 0.1)),
    left_out_predicted_ms: maybe(positive), left_out_error_ms: as('there with left_out_predicted_ms', (row, value) => (value === '') === (row['left_out_predicted_ms'] === '')), left_out_u_ms: maybe(positive), missing_because: maybe(text),
  },
};
