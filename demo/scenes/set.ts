// The street at the tram stop: sky, hill, houses, ground, street furniture. World metres, ground at y = 0.

import { BRASS, COBBLES, FLAGS, glow, IRON, paint, plaster, STEEL, wood } from './materials.js';
import { seeded } from './random.js';
import { mul, n, v, type Vec3 } from './vector.js';

/** Sun, sky fill and bounce. `fill` scales everything that is not the sun. */
export function lights(sun: Vec3, fill = 1, sunRgb: Vec3 = [2.55, 1.85, 1.2], soft = false): string {
  const far = mul(sun, 120);
  const area = soft ? ' area_light <0.9,0,0.45>,<0,0.9,0.45>,3,3 adaptive 0 circular' : '';
  const k = (a: Vec3): string => v(mul(a, fill));
  return (
    `light_source{${v(far)} rgb${v(sunRgb)} parallel point_at 0${area}}\n` +
    `light_source{<-25,80,-50> rgb${k([0.25, 0.28, 0.42])} shadowless parallel point_at 0}\n` +
    `light_source{<50,40,-40> rgb${k([0.17, 0.16, 0.2])} shadowless parallel point_at 0}\n` +
    `light_source{<0,40,90> rgb${k([0.16, 0.12, 0.13])} shadowless parallel point_at 0}\n` +
    `light_source{<0,-60,-20> rgb${k([0.13, 0.09, 0.06])} shadowless parallel point_at 0}\n`
  );
}

export const SKY = `sky_sphere{ pigment{ gradient y color_map{
  [0 rgb<1.0,0.66,0.42>][0.08 rgb<1.0,0.6,0.44>][0.18 rgb<0.8,0.48,0.5>][0.34 rgb<0.42,0.38,0.6>][0.7 rgb<0.18,0.22,0.46>] } }
 pigment{ bozo turbulence 0.55 omega 0.6 scale <0.55,0.11,0.55> translate <1.3,0.2,0.4> color_map{
  [0 rgbt<1,0.75,0.6,1>][0.5 rgbt<1,0.72,0.56,1>][0.66 rgbt<1.0,0.72,0.58,0.45>][0.85 rgbt<1,0.82,0.7,0.2>][1 rgbt<1,0.85,0.75,0.15>] } } }
`;
export const HAZE = 'fog{ fog_type 2 fog_offset 9 fog_alt 7 distance 150 rgb<0.85,0.56,0.45> }\n';

export const ground = (): string => `plane{y,0 ${COBBLES}}\n`;

function tree(x: number, y: number, z: number, h: number, r: () => number): string {
  const leaf = paint(`${n(0.1 + 0.12 * r())},${n(0.17 + 0.07 * r())},${n(0.05 + 0.04 * r())}`);
  let out =
    `cylinder{<${n(x)},${n(y)},${n(z)}>,<${n(x)},${n(y + h * 0.5)},${n(z)}>,${n(h * 0.05)} ` +
    `${paint('0.14,0.08,0.05')}}\n`;
  for (let i = 0; i < 5; i++) {
    out +=
      `sphere{<${n(x + (r() - 0.5) * h * 0.4)},${n(y + h * (0.55 + 0.35 * r()))},${n(z + (r() - 0.5) * h * 0.3)}>,` +
      `${n(h * (0.2 + 0.12 * r()))} ${leaf}}\n`;
  }
  return out;
}

/** Harrow Hill behind the roofs, with its trees, a church and lit cottages. */
export function hill(): string {
  const r = seeded(77);
  let out =
    `sphere{0,1 scale <70,17,40> translate <14,-2,95> ${plaster('0.3,0.31,0.13', '0.2,0.24,0.1')}}\n` +
    `sphere{0,1 scale <50,9,30> translate <-42,-1,80> ${plaster('0.25,0.27,0.14', '0.19,0.23,0.11')}}\n`;
  for (let i = 0; i < 46; i++) {
    const x = -40 + 100 * r();
    const dx = (x - 14) / 70;
    const depth = 0.35 + 0.5 * r();
    const dz = -depth * Math.sqrt(Math.max(0, 1 - dx * dx));
    const y = -2 + 17 * Math.sqrt(Math.max(0, 1 - dx * dx - dz * dz));
    if (i % 4 === 3) {
      const w = 1.6 + r();
      out +=
        `box{<${n(x - w)},${n(y - 1)},${n(95 + 40 * dz - 1.5)}>,<${n(x + w)},${n(y + 2.2)},` +
        `${n(95 + 40 * dz + 1.5)}> ${paint('0.6,0.5,0.42')}}\n` +
        `box{<${n(x - 0.5)},${n(y + 0.5)},${n(95 + 40 * dz - 1.6)}>,<${n(x + 0.4)},${n(y + 1.4)},` +
        `${n(95 + 40 * dz - 1.5)}> ${glow('1.0,0.6,0.2', 0.9)}}\n` +
        `prism{linear_sweep -1.7,1.7,4,<${n(-w - 0.3)},0>,<${n(w + 0.3)},0>,<0,1.6>,<${n(-w - 0.3)},0> ` +
        `rotate x*-90 translate <${n(x)},${n(y + 2.2)},${n(95 + 40 * dz)}> ${paint('0.33,0.13,0.09')}}\n`;
    } else out += tree(x, y - 0.5, 95 + 40 * dz, 3.5 + 3 * r(), r);
  }
  return out;
}

/** A terrace of small houses along x with their fronts at `z`. */
export function houses(z: number, fromX: number, count: number, seed = 5): string {
  const r = seeded(seed);
  const walls = [
    ['0.62,0.5,0.4', '0.52,0.41,0.33'],
    ['0.55,0.34,0.28', '0.45,0.27,0.22'],
    ['0.42,0.47,0.5', '0.34,0.39,0.43'],
    ['0.66,0.55,0.33', '0.56,0.45,0.26'],
    ['0.5,0.4,0.46', '0.41,0.32,0.38'],
  ] as const;
  let x = fromX;
  let out = '';
  for (let i = 0; i < count; i++) {
    const w = 2.5 + 1.1 * r();
    const h = 3.2 + 1.3 * r();
    const wall = walls[Math.floor(r() * walls.length)] ?? walls[0];
    const roof = paint(r() < 0.5 ? '0.3,0.12,0.085' : '0.17,0.16,0.2');
    const frame = paint('0.62,0.57,0.5');
    out +=
      `box{<${n(x)},0,${n(z)}>,<${n(x + w)},${n(h)},${n(z + 4)}> ${plaster(wall[0], wall[1])}}\n` +
      `prism{linear_sweep ${n(z - 0.25)},${n(z + 4)},4,<${n(x - 0.15)},0>,<${n(x + w + 0.15)},0>,<${n(x + w / 2)}` +
      `,${n(1.5 + 0.6 * r())}>,<${n(x - 0.15)},0> rotate x*-90 scale <1,1,-1> translate y*${n(h)} ${roof}}\n` +
      `box{<${n(x + w * 0.68)},${n(h)},${n(z + 1.4)}>,<${n(x + w * 0.82)},${n(h + 2)},${n(z + 1.9)}> ` +
      `${plaster('0.4,0.2,0.14', '0.3,0.14,0.1')}}\n`;
    for (let row = 0; row < 2; row++) {
      for (let col = 0; col < 2; col++) {
        const wx = x + w * (0.16 + 0.44 * col);
        const wy = 0.75 + row * (h / 2 - 0.1);
        if (row === 0 && col === 1) {
          out +=
            `box{<${n(wx)},0,${n(z - 0.04)}>,<${n(wx + 0.72)},${n(1.75)},${n(z)}> ` +
            `${paint(`${n(0.1 + 0.3 * r())},${n(0.12 + 0.12 * r())},${n(0.12 + 0.12 * r())}`)}}\n` +
            `sphere{<${n(wx + 0.6)},0.9,${n(z - 0.06)}>,0.035 ${BRASS}}\n`;
          continue;
        }
        const lit = r() < 0.6;
        out +=
          `box{<${n(wx - 0.06)},${n(wy - 0.06)},${n(z - 0.05)}>,<${n(wx + 0.76)},${n(wy + 1.02)},${n(z - 0.005)}` +
          `> ${frame}}\n` +
          `box{<${n(wx)},${n(wy)},${n(z - 0.058)}>,<${n(wx + 0.7)},${n(wy + 0.96)},${n(z - 0.02)}> ` +
          `${lit ? glow('1.0,0.62,0.22', 0.95) : paint('0.06,0.08,0.13', 'specular 0.4 roughness 0.02')}}\n` +
          `box{<${n(wx + 0.32)},${n(wy)},${n(z - 0.066)}>,<${n(wx + 0.38)},${n(wy + 0.96)},${n(z - 0.03)}> ` +
          `${frame}} box{<${n(wx)},${n(wy + 0.46)},${n(z - 0.066)}>,<${n(wx + 0.7)},${n(wy + 0.51)},` +
          `${n(z - 0.03)}> ${frame}}\n`;
      }
    }
    x += w + (r() < 0.2 ? 0.5 : 0.02);
  }
  return out;
}

/** Tram rails along x at `z`, gauge 1.1 m, in a strip of flagstones. */
export function track(z: number): string {
  const rail = (at: number): string => `box{<-60,0,${n(at - 0.035)}>,<60,0.018,${n(at + 0.035)}> ${STEEL}}\n`;
  return rail(z - 0.55) + rail(z + 0.55);
}

/** The kerb of the platform: a row of flags along x between two depths. */
export const kerb = (z0: number, z1: number, h = 0.02): string =>
  `box{<-60,-0.2,${n(z0)}>,<60,${n(h)},${n(z1)}> ${FLAGS}}\n`;

/** A straight gutter of pale stone along z, level with the street: a line on the ground. */
export const gutter = (x: number, z0: number, z1: number): string =>
  `box{<${n(x - GUTTER_HALF)},-0.1,${n(z0)}>,<${n(x + GUTTER_HALF)},0.006,${n(z1)}> ${FLAGS}}\n`;
const GUTTER_HALF = 0.05;

/** Height of a bollard, foot to top. */
export const BOLLARD_HEIGHT = 0.8;
/** An iron bollard with a white band. */
export const bollard = (x: number, z: number): string =>
  `union{ cone{0,0.09,<0,0.7,0>,0.065 ${IRON}} sphere{<0,0.725,0>,0.075 ${IRON}} ` +
  `cylinder{<0,0.5,0>,<0,0.6,0>,0.0735 ${paint('0.7,0.64,0.54')}} translate <${n(x)},0,${n(z)}> }\n`;

/** A lamp post with a globe, lit. */
export function lamp(x: number, z: number, h = 3.1): string {
  return (
    `union{ cylinder{0,<0,${n(h)},0>,0.045 ${IRON}} cone{0,0.13,<0,0.5,0>,0.06 ${IRON}} ` +
    `torus{0.075,0.03 translate y*0.52 ${IRON}} torus{0.06,0.022 translate y*${n(h - 0.35)} ${IRON}}\n` +
    `cone{<0,${n(h)},0>,0.05,<0,${n(h + 0.12)},0>,0.13 ${IRON}} ` +
    `sphere{<0,${n(h + 0.3)},0>,0.21 ${glow('1.0,0.72,0.36', 1.15)}} ` +
    `cone{<0,${n(h + 0.46)},0>,0.17,<0,${n(h + 0.62)},0>,0.02 ${IRON}}\n` +
    `cylinder{<-0.3,${n(h - 0.28)},0>,<0.3,${n(h - 0.28)},0>,0.018 ${IRON}} ` +
    `sphere{<-0.3,${n(h - 0.28)},0>,0.035 ${BRASS}} sphere{<0.3,${n(h - 0.28)},0>,0.035 ${BRASS}} ` +
    `translate <${n(x)},0,${n(z)}> }\n`
  );
}

/** Height of the stop post, foot to the top of its finial. */
export const POST_HEIGHT = 2.1;

/** The stop post: an iron pole with a round enamel sign. */
export function stopPost(x: number, z: number, turn = 0): string {
  return (
    `union{ cylinder{0,<0,2.06,0>,0.035 ${IRON}} cone{0,0.1,<0,0.22,0>,0.045 ${IRON}} ` +
    `sphere{<0,2.055,0>,0.045 ${BRASS}}\n` +
    'union{ cylinder{<0,1.72,-0.05>,<0,1.72,-0.075>,0.27 ' +
    `${paint('0.5,0.07,0.045', 'specular 0.3 roughness 0.05')}} ` +
    `cylinder{<0,1.72,-0.07>,<0,1.72,-0.08>,0.215 ${paint('0.85,0.79,0.65')}}\n` +
    `text{ttf "timrom.ttf" "7",0.02,0 scale 0.36 translate <-0.09,1.6,-0.09> ${paint('0.05,0.07,0.18')}}\n` +
    `box{<-0.3,1.28,-0.05>,<0.3,1.4,-0.065> ${paint('0.05,0.07,0.18')}} ` +
    'text{ttf "timrom.ttf" "HARROW HILL",0.02,0 scale 0.088 ' +
    `translate <-0.285,1.312,-0.075> ${paint('0.85,0.79,0.65')}} rotate y*${n(turn)} }\n` +
    `translate <${n(x)},0,${n(z)}> }\n`
  );
}

/** A slatted bench, 1.5 m long, facing −z. */
export function bench(x: number, z: number, turn = 0): string {
  const slat = wood('0.3,0.14,0.06', '0.42,0.21,0.09', 0.03);
  const legs = [-0.65, 0.65]
    .map(
      (s) =>
        `box{<${s - 0.03},0,-0.2>,<${s + 0.03},0.44,0.2> ${IRON}} ` +
        `box{<${s - 0.025},0.4,0.16>,<${s + 0.025},0.92,0.21> ${IRON}}`,
    )
    .join(' ');
  const slats = [0, 1, 2, 3]
    .map((i) => `box{<-0.78,0.44,${n(-0.22 + 0.105 * i)}>,<0.78,0.475,${n(-0.13 + 0.105 * i)}> ${slat}}`)
    .join(' ');
  const back = [0, 1, 2]
    .map((i) => `box{<-0.78,${n(0.58 + 0.12 * i)},0.14>,<0.78,${n(0.67 + 0.12 * i)},0.165> ${slat}}`)
    .join(' ');
  return `union{ ${legs} ${slats} ${back} rotate y*${n(turn)} translate <${n(x)},0,${n(z)}> }\n`;
}

/** Flower tub. */
export function tub(x: number, z: number, seed: number): string {
  const r = seeded(seed);
  let out =
    `cone{<${n(x)},0,${n(z)}>,0.2,<${n(x)},0.4,${n(z)}>,0.27 ${wood('0.33,0.16,0.08', '0.25,0.11,0.055', 0.06)}} ` +
    `torus{0.255,0.02 translate <${n(x)},0.32,${n(z)}> ${IRON}}\n`;
  const petals = ['0.75,0.13,0.16', '0.8,0.45,0.1', '0.75,0.68,0.55', '0.5,0.16,0.42'];
  for (let i = 0; i < 26; i++) {
    const a = r() * 6.283;
    const d = 0.24 * Math.sqrt(r());
    const at = `<${n(x + d * Math.cos(a))},${n(0.42 + 0.2 * r())},${n(z + d * Math.sin(a))}>`;
    out +=
      i % 2
        ? `sphere{${at},${n(0.045 + 0.02 * r())} ${paint(petals[Math.floor(r() * 4)] ?? '0.7,0.2,0.2')}}\n`
        : `sphere{${at},0.085 ${paint('0.08,0.17,0.06')}}\n`;
  }
  return out;
}
