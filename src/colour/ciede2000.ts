/**
 * CIEDE2000 colour difference (CIE 142-2001) as laid out by G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000
 * color-difference formula: implementation notes, supplementary test data, and mathematical observations", Color
 * Research & Application 30(1), 2005, equations 2 to 22, kL = kC = kH = 1. Hues in radians inside.
 */
const POW25_7 = 25 ** 7;
const RAD = Math.PI / 180;

/** Difference of two Lab colours; 1 is about what an observer just sees. */
export function ciede2000(L1: number, a1: number, b1: number, L2: number, a2: number, b2: number): number {
  const c1 = Math.hypot(a1, b1);
  const c2 = Math.hypot(a2, b2);
  const cm7 = (0.5 * (c1 + c2)) ** 7;
  const g = 1 + 0.5 * (1 - Math.sqrt(cm7 / (cm7 + POW25_7)));
  const ap1 = a1 * g;
  const ap2 = a2 * g;
  const cp1 = Math.hypot(ap1, b1);
  const cp2 = Math.hypot(ap2, b2);
  let h1 = ap1 === 0 && b1 === 0 ? 0 : Math.atan2(b1, ap1);
  let h2 = ap2 === 0 && b2 === 0 ? 0 : Math.atan2(b2, ap2);
  if (h1 < 0) h1 += 2 * Math.PI;
  if (h2 < 0) h2 += 2 * Math.PI;
  const grey = cp1 * cp2 === 0;
  let dh = h2 - h1;
  if (grey) dh = 0;
  else if (dh > Math.PI) dh -= 2 * Math.PI;
  else if (dh < -Math.PI) dh += 2 * Math.PI;
  const dL = L2 - L1;
  const dC = cp2 - cp1;
  const dH = 2 * Math.sqrt(cp1 * cp2) * Math.sin(0.5 * dh);
  const Lm = 0.5 * (L1 + L2);
  const Cm = 0.5 * (cp1 + cp2);
  let hm = h1 + h2;
  if (!grey) {
    if (Math.abs(h1 - h2) <= Math.PI) hm *= 0.5;
    else hm = hm < 2 * Math.PI ? 0.5 * hm + Math.PI : 0.5 * hm - Math.PI;
  }
  const T =
    1 -
    0.17 * Math.cos(hm - 30 * RAD) +
    0.24 * Math.cos(2 * hm) +
    0.32 * Math.cos(3 * hm + 6 * RAD) -
    0.2 * Math.cos(4 * hm - 63 * RAD);
  const theta = 30 * RAD * Math.exp(-(((hm / RAD - 275) / 25) ** 2));
  const Cm7 = Cm ** 7;
  const Rc = 2 * Math.sqrt(Cm7 / (Cm7 + POW25_7));
  const l50 = (Lm - 50) * (Lm - 50);
  const Sl = 1 + (0.015 * l50) / Math.sqrt(20 + l50);
  const Sc = 1 + 0.045 * Cm;
  const Sh = 1 + 0.015 * Cm * T;
  const x = dL / Sl;
  const y = dC / Sc;
  const z = dH / Sh;
  return Math.sqrt(Math.max(0, x * x + y * y + z * z - Math.sin(2 * theta) * Rc * y * z));
}
