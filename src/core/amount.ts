/** A measured number as a person reads it: as many digits as its uncertainty leaves standing, and its unit. */
const UNITS: Record<string, string> = {
  deg: '°',
  px: ' px',
  m: ' m',
  cm: ' cm',
  stop: ' stops',
  K: ' K',
  ratio: '',
  'deg/s': '°/s',
  Hz: ' Hz',
  s: ' s',
  frame: ' frames',
  '1': '',
  '%': ' %',
  'cycles/px': ' cycles/px',
  'px/m': ' px/m',
};

/** Digits that the uncertainty leaves standing: one more than the first digit of the deviation. */
function digits(sd: number | null, value: number): number {
  const s = sd !== null && sd > 0 ? sd : Math.abs(value) / 100 || 1;
  return Math.max(0, Math.min(4, 1 - Math.floor(Math.log10(s))));
}

/** A unit as it stands behind its number, with the space that it wants. */
export function unit(u: string): string {
  return UNITS[u] ?? ` ${u}`;
}

/** A number to so many digits, with a true minus; what rounds to nothing has no sign. */
export function rounded(value: number, digits: number): string {
  const text = value.toFixed(digits);
  return Number(text) === 0 ? text.replace('-', '') : text.replace('-', '−');
}

/** A value with its unit and its sd, rounded to what the sd tells; shares (unit `1`) in hundredths. */
export function amount(value: number, sd: number | null, u: string): string {
  // Shares read best in hundredths.
  if (u === '1') return amount(value * 100, sd === null ? null : sd * 100, '%');
  // Counted things are whole: 71 frames, not 71.00.
  const d = u === 'frame' && (sd === null || sd === 0) && Number.isInteger(value) ? 0 : digits(sd, value);
  return `${rounded(value, d)}${unit(u)}${sd === null || sd === 0 ? '' : ` ± ${sd.toFixed(d)}`}`;
}
