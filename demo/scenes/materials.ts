// Paints of the set. Linear light, diffuse first: the look is a hand-built model street in late sun.

/** Plain matt paint. */
export const paint = (rgb: string, more = ''): string =>
  `texture{pigment{rgb<${rgb}>} finish{ambient 0 diffuse 0.82 ${more}}}`;
/** A lit pane or bulb. */
export const glow = (rgb: string, level = 1): string =>
  `texture{pigment{rgb<${rgb}>} finish{ambient 0 diffuse 0 emission ${level}}}`;

export const BRASS =
  'texture{pigment{rgb<0.72,0.46,0.13>} finish{ambient 0 diffuse 0.6 specular 0.7 roughness 0.04 metallic}}';
export const IRON = 'texture{pigment{rgb<0.035,0.05,0.05>} finish{ambient 0 diffuse 0.8 specular 0.25 roughness 0.06}}';
export const STEEL = 'texture{pigment{rgb<0.42,0.43,0.45>} finish{ambient 0 diffuse 0.6 specular 0.6 roughness 0.03}}';

/** Painted wood with a faint grain. */
export const wood = (a: string, b: string, scale = 0.05): string =>
  `texture{pigment{bozo turbulence 0.4 scale <${scale * 12},${scale},${scale}> ` +
  `color_map{[0.2 rgb<${a}>][0.8 rgb<${b}>]}} finish{ambient 0 diffuse 0.82}}`;

/** Woollen cloth: a small mottle, so that it can be followed from frame to frame. */
export const cloth = (a: string, b: string): string =>
  `texture{pigment{granite scale 0.09 color_map{[0.15 rgb<${a}>][0.65 rgb<${b}>]}} ` +
  'normal{granite 0.22 scale 0.035} finish{ambient 0 diffuse 0.85}}';

/** Plaster, mottled. */
export const plaster = (rgb: string, darker: string): string =>
  `texture{pigment{granite turbulence 0.2 scale 1.3 color_map{[0 rgb<${darker}>][0.7 rgb<${rgb}>]}} ` +
  'finish{ambient 0 diffuse 0.8}}';

/** Rounded cobbles, each with its own tint, dark joints between. */
export const COBBLES = `texture{
  pigment{ crackle form <-1,1,0> scale 0.17 pigment_map{
    [0.05 rgb<0.055,0.05,0.058>]
    [0.12 crackle solid turbulence 0 color_map{[0 rgb<0.20,0.175,0.175>][0.35 rgb<0.27,0.235,0.215>][0.7 rgb<0.33,0.28,0.235>][1 rgb<0.24,0.225,0.245>]}] } }
  normal{ crackle 0.9 form <-1,1,0> scale 0.17 slope_map{[0 <0,1>][0.2 <0.85,0.5>][0.6 <1,0>][1 <1,0>]} }
  finish{ambient 0 diffuse 0.82 specular 0.06 roughness 0.08}}`;

/** Flagstones of the platform edge. */
export const FLAGS = `texture{
  pigment{ brick pigment{rgb<0.13,0.115,0.11>} pigment{granite scale 0.7 color_map{[0.1 rgb<0.37,0.33,0.3>][0.7 rgb<0.5,0.45,0.39>]}} brick_size <0.9,0.2,0.5> mortar 0.016 }
  finish{ambient 0 diffuse 0.82}}`;

export const BRICK = `texture{
  pigment{ brick pigment{rgb<0.42,0.36,0.3>} pigment{granite scale 0.4 color_map{[0.1 rgb<0.30,0.105,0.06>][0.75 rgb<0.44,0.19,0.11>]}} brick_size <0.24,0.08,0.12> mortar 0.011 }
  normal{ brick 0.25 brick_size <0.24,0.08,0.12> mortar 0.011 } finish{ambient 0 diffuse 0.82}}`;
