/** The latched faults of the specification (LINE-60) in words for the operator. */

const texts = {
  'emergency-stop':
    'The emergency stop is pressed. The injectors are off and the supply is at its safe value. Find out why it was pressed, release it, then clear the fault.',
  'interlock-cover':
    'The cover of the bench was opened while it was armed. The injectors are off and the supply is at its safe value. Close the cover, then clear the fault.',
  'interlock-ventilation':
    'The ventilation failed while the bench was armed. The injectors are off and the supply is at its safe value. Restore the ventilation and wait until vapour is gone, then clear the fault.',
  'over-current':
    'The supply current went over the controller\'s limit. The injectors are off and the supply is at its safe value. Look for a short circuit in injector and harness, then clear the fault.',
  'over-temperature':
    'The fluid went over the controller\'s temperature limit. The injectors are off and the supply is at its safe value. Let the fluid cool and find the cause, then clear the fault.',
  'over-pressure':
    'The rail pressure went over the controller\'s limit. The injectors are off, the supply is at its safe value and the regulator is at its lowest. Find the cause, then clear the fault.',
  'dead-man':
    'The controller heard nothing from the host for the set time and made the bench safe by itself. The injectors are off and the supply is at its safe value. Check the cable and the host, then clear the fault.',
} as const;

export type FaultCode = keyof typeof texts;

/** What happened, what is safe now and what to do; a code that this version does not know gets a sentence that says so. */
export function faultText(code: string): string {
  return Object.hasOwn(texts, code)
    ? texts[code as FaultCode]
    : `The controller latched the fault "${code}", which this version does not know. The injectors are off and the supply is at its safe value. Look the code up in the controller's papers, then clear the fault.`;
}
