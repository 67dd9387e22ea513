/**
 * Common surfaces and the share of visible light that they throw back. Skins and the chart's neutral patches: luminance
 * of the 24-patch reference chart (X-Rite, 2016). Ground: ranges that tables of albedo print (worn asphalt .12, fresh .04;
 * dry concrete .17 to .27, new .55), their middle and spread in stops. Paper and paint: common practice, no source. A
 * skin's or a wall's own share lies anywhere about these: the sd says how far.
 */

/** What a surface is, the share of light that it throws back, its sd in stops, and whether it has no colour. */
export interface CommonTone {
  readonly name: string;
  readonly reflects: number;
  readonly sdStops: number;
  readonly grey: boolean;
}

export const COMMON_TONES: readonly CommonTone[] = [
  { name: 'white paper', reflects: 0.8, sdStops: 0.15, grey: true },
  { name: 'white paint, white cloth', reflects: 0.75, sdStops: 0.3, grey: true },
  { name: 'grey card', reflects: 0.18, sdStops: 0.1, grey: true },
  { name: 'light skin', reflects: 0.34, sdStops: 0.4, grey: false },
  { name: 'dark skin', reflects: 0.1, sdStops: 0.5, grey: false },
  { name: 'dry concrete', reflects: 0.25, sdStops: 0.6, grey: true },
  { name: 'worn asphalt', reflects: 0.12, sdStops: 0.6, grey: true },
];
