/** The latched faults of the specification (LINE-60) in words for the operator. */

/** What a controller does with every fault (LINE-62); version 1 of the line left the rail as it was (LINE-88). That it did so is for its readings to tell. */
const SAFE =
  'With a fault the controller switches the injectors off, takes the supply to its safe value, and gives up the rail pressure where it commands it.';

const texts = {
  'emergency-stop':
    `The emergency stop is pressed. ${SAFE} Find out why it was pressed, release it, then clear the fault.`,
  'interlock-cover':
    `The cover of the bench was opened while it was armed. ${SAFE} Close the cover, then clear the fault.`,
  'interlock-ventilation':
    `The ventilation failed while the bench was armed. ${SAFE} Restore the ventilation and wait until vapour is gone, then clear the fault.`,
  'over-current':
    `The supply current went over the controller's limit. ${SAFE} Look for a short circuit in injector and harness, then clear the fault.`,
  'over-temperature':
    `The fluid went over the controller's temperature limit. ${SAFE} Let the fluid cool and find the cause, then clear the fault.`,
  'over-pressure':
    `The rail pressure went over the controller's limit. ${SAFE} Find the cause, then clear the fault.`,
  'dead-man':
    `The controller heard nothing from the host for the set time, and its watchdog acted. ${SAFE} Check the cable and the host, then clear the fault.`,
  'sensor-current':
    `The current reading stood at one exact value while pulses were driven. ${SAFE} Look at the current sensor and its wiring, then clear the fault.`,
  'sensor-pressure':
    `The pressure transducer is broken, not connected, or stood at one exact value while pulses were driven. ${SAFE} Do not trust the pressure shown; look at a gauge. Mend the transducer and its wiring, then clear the fault.`,
  'sensor-rail-temperature':
    `The temperature transmitter of the rail is broken or not connected. ${SAFE} Mend it and its wiring, then clear the fault.`,
  'sensor-meter-temperature':
    `The temperature transmitter at the flow meter is broken or not connected. ${SAFE} Mend it and its wiring, then clear the fault.`,
  'converter':
    `The controller no longer measures current, pressure and temperature; the values shown are old. ${SAFE} Switch the controller off and on. If it comes again, have it repaired; then clear the fault.`,
  'driver':
    `Current or fluid flowed although nothing was driven: a driver is shorted, an injector does not shut, or there is a large leak. ${SAFE} Look which injector is warm or wet, then clear the fault.`,
  'meter':
    `The flow meter's input gave edges faster than the controller can count, so some were lost. ${SAFE} Look at the meter, its wiring and what disturbs it, then clear the fault.`,
  'calibration':
    `The calibration stored in the controller is damaged. ${SAFE} Calibrate the inputs again, then clear the fault.`,
  'fuses':
    `The fuses of the controller's chip are not set as they must be (clock, brown-out), so it cannot be relied upon. ${SAFE} Set the fuses as the firmware's papers say and start the controller again, then clear the fault.`,
} as const;

export type FaultCode = keyof typeof texts;

/** What happened, what is safe now and what to do; a code that this version does not know gets a sentence that says so. */
export function faultText(code: string): string {
  return Object.hasOwn(texts, code)
    ? texts[code as FaultCode]
    : `The controller latched the fault "${code}", which this version does not know. ${SAFE} Look the code up in the controller's papers, then clear the fault.`;
}
