/** Verdict on a take: fits, mendable, shoot again, for each matter and over all. */
export type VerdictWord = 'fits' | 'mendable' | 'shoot again';

/** What a verdict judges a take by. */
export type MatterName =
  | 'viewElevation'
  | 'perspective'
  | 'lightAzimuth'
  | 'lightElevation'
  | 'keyFill'
  | 'turnRate'
  | 'stir'
  | 'size'
  | 'screenEvenness'
  | 'spill'
  | 'exposure'
  | 'clipping'
  | 'focus'
  | 'blur'
  | 'inFrame'
  | 'eyeline'
  | 'damage'
  | 'length';

/** One matter of a verdict: what was measured beside what is wanted. */
export interface Matter {
  readonly matter: MatterName;
  /** Measured on the take with its sd, and wanted by the plate, all in `unit`; null where not known. */
  readonly measured: number | null;
  readonly sd: number | null;
  readonly needed: number | null;
  readonly unit: string;
  /** null: could not be judged; `reason` and `wouldHelp` say why and which mark would make it so. */
  readonly verdict: VerdictWord | null;
  /** How far off still fits, and can still be mended, in `unit`; null where it is not a matter of how far. */
  readonly tolerance: { readonly fits: number; readonly mendable: number } | null;
  /** What to change before the next try, or how it will be mended. */
  readonly change: string;
  readonly reason?: string;
  readonly wouldHelp?: string;
}

/** Whether a take fits its plate, which span of it is best, and each matter. */
export interface Verdict {
  readonly verdict: VerdictWord;
  /** Best span of the take. */
  readonly span: { readonly in: number; readonly out: number };
  readonly matters: readonly Matter[];
  readonly notes: readonly string[];
}
