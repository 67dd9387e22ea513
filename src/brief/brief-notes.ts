/** What the parts of a brief write into: its instructions, and what would have to be marked to say more. */
export interface BriefNotes {
  readonly instructions: string[];
  readonly missing: string[];
}

/** A number as the brief's sentences write it. */
export const fmt = (v: number, digits = 0): string => v.toFixed(digits);
