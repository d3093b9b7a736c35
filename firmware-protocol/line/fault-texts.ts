/** The latched faults of the specification (LINE-60) in words for the operator. */

/** What holds after every fault; version 1 of the line left the rail as it was (LINE-88). */
const SAFE =
  'The injectors are off, the supply is at its safe value, and where the controller commands the rail its pressure is given up.';

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
    `The controller heard nothing from the host for the set time and made the bench safe by itself. ${SAFE} Check the cable and the host, then clear the fault.`,
} as const;

export type FaultCode = keyof typeof texts;

/** What happened, what is safe now and what to do; a code that this version does not know gets a sentence that says so. */
export function faultText(code: string): string {
  return Object.hasOwn(texts, code)
    ? texts[code as FaultCode]
    : `The controller latched the fault "${code}", which this version does not know. ${SAFE} Look the code up in the controller's papers, then clear the fault.`;
}
