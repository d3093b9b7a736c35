import type { BenchCapabilities, BenchFrame } from '../../app/bench/port.ts';

/** How much supply above its safe value means that somebody has set one. */
const ENERGISED_V = 0.5;

export const isEnergised = ({ supply }: BenchFrame, { safeSupply }: BenchCapabilities): boolean => supply > safeSupply + ENERGISED_V;

/** Whether telemetry shows a bench that is armed, pulses or has its supply up. */
export const isDriven = (frame: BenchFrame, capabilities: BenchCapabilities): boolean => frame.armed || frame.burst.active || isEnergised(frame, capabilities);
