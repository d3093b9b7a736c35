/** Resistance of copper over temperature. */

/** Temperature coefficient of annealed copper's resistance at 20 degC, 1/K (IEC 60028). */
export const copperPerKelvin = 0.00393;

/** A resistance that copper has at `celsius`, as it is at 20 degC; in the unit of `resistance`. */
export const at20Celsius = (resistance: number, celsius: number): number => resistance / (1 + copperPerKelvin * (celsius - 20));
