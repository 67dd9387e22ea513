/**
 * FFmpeg's pixel formats as plain planes. The formats that are planar already are described from their names (which
 * follow a fixed grammar: libavutil/pixdesc.c); packed, semi-planar, palette and big-endian ones name the planar format
 * of the same samples that they are unpacked to, so that no value changes.
 */
export interface PlaneFormat {
  readonly name: string;
  readonly layout: 'yuv' | 'rgb' | 'grey';
  /** log2 of the chroma subsampling. */
  readonly chromaShift: readonly [number, number];
  readonly bitDepth: number;
  /** Samples are floats: 32-bit, or 16-bit (`half`) that the door widens. */
  readonly float: boolean;
  readonly half: boolean;
  readonly hasAlpha: boolean;
  /** `yuvj...`: full range by the format's name. */
  readonly fullRangeByName: boolean;
  /** FFmpeg's plane index of our planes (r, g, b for RGB, where FFmpeg stores g, b, r). */
  readonly planeOrder: readonly number[];
}

const CHROMA: Record<string, readonly [number, number]> = {
  '420': [1, 1],
  '422': [1, 0],
  '444': [0, 0],
  '440': [0, 1],
  '411': [2, 0],
  '410': [2, 2],
};

/** Describes a planar little-endian format by name, or null where it has to be unpacked first. */
export function planeFormat(name: string): PlaneFormat | null {
  let m = /^yuv(a|j)?(420|422|444|440|411|410)p(?:(9|10|12|14|16)le)?$/.exec(name);
  if (m) {
    const alpha = m[1] === 'a';
    return {
      name,
      layout: 'yuv',
      chromaShift: CHROMA[m[2]!]!,
      bitDepth: m[3] ? Number(m[3]) : 8,
      float: false,
      half: false,
      hasAlpha: alpha,
      fullRangeByName: m[1] === 'j',
      planeOrder: alpha ? [0, 1, 2, 3] : [0, 1, 2],
    };
  }
  m = /^gbr(a)?p(?:(f)?(9|10|12|14|16|32)le)?$/.exec(name);
  if (m) {
    return {
      name,
      layout: 'rgb',
      chromaShift: [0, 0],
      bitDepth: m[2] ? 32 : m[3] ? Number(m[3]) : 8,
      float: m[2] === 'f',
      half: m[2] === 'f' && m[3] === '16',
      hasAlpha: m[1] === 'a',
      fullRangeByName: true,
      planeOrder: m[1] === 'a' ? [2, 0, 1, 3] : [2, 0, 1],
    };
  }
  m = /^gray(?:(f)?(9|10|12|14|16|32)le)?$/.exec(name);
  if (m) {
    return {
      name,
      layout: 'grey',
      chromaShift: [0, 0],
      bitDepth: m[1] ? 32 : m[2] ? Number(m[2]) : 8,
      float: m[1] === 'f',
      half: m[1] === 'f' && m[2] === '16',
      hasAlpha: false,
      fullRangeByName: true,
      planeOrder: [0],
    };
  }
  return null;
}

/** The planar format that holds the same samples, or null for formats that nobody delivers pictures in. */
export function planarEquivalent(name: string): string | null {
  if (planeFormat(name)) return name;
  if (name.endsWith('be') && planeFormat(`${name.slice(0, -2)}le`)) return `${name.slice(0, -2)}le`;
  const fixed: Record<string, string> = {
    nv12: 'yuv420p',
    nv21: 'yuv420p',
    nv16: 'yuv422p',
    nv24: 'yuv444p',
    nv42: 'yuv444p',
    nv20le: 'yuv422p10le',
    yuyv422: 'yuv422p',
    uyvy422: 'yuv422p',
    yvyu422: 'yuv422p',
    uyyvyy411: 'yuv411p',
    p010le: 'yuv420p10le',
    p010be: 'yuv420p10le',
    p012le: 'yuv420p12le',
    p016le: 'yuv420p16le',
    p016be: 'yuv420p16le',
    p210le: 'yuv422p10le',
    p212le: 'yuv422p12le',
    p216le: 'yuv422p16le',
    p410le: 'yuv444p10le',
    p412le: 'yuv444p12le',
    p416le: 'yuv444p16le',
    y210le: 'yuv422p10le',
    y212le: 'yuv422p12le',
    y216le: 'yuv422p16le',
    xv30le: 'yuv444p10le',
    v30xle: 'yuv444p10le',
    xv36le: 'yuv444p12le',
    xv48le: 'yuv444p16le',
    ayuv64le: 'yuva444p16le',
    ayuv64be: 'yuva444p16le',
    vuya: 'yuva444p',
    vuyx: 'yuv444p',
    ayuv: 'yuva444p',
    uyva: 'yuva444p',
    vyu444: 'yuv444p',
    pal8: 'gbrap',
    monow: 'gray',
    monob: 'gray',
    ya8: 'gbrap',
    ya16le: 'gbrap16le',
    ya16be: 'gbrap16le',
    rgb24: 'gbrp',
    bgr24: 'gbrp',
    rgba: 'gbrap',
    bgra: 'gbrap',
    argb: 'gbrap',
    abgr: 'gbrap',
    rgb0: 'gbrp',
    bgr0: 'gbrp',
    '0rgb': 'gbrp',
    '0bgr': 'gbrp',
    rgb48le: 'gbrp16le',
    rgb48be: 'gbrp16le',
    bgr48le: 'gbrp16le',
    bgr48be: 'gbrp16le',
    rgba64le: 'gbrap16le',
    rgba64be: 'gbrap16le',
    bgra64le: 'gbrap16le',
    bgra64be: 'gbrap16le',
    x2rgb10le: 'gbrp10le',
    x2bgr10le: 'gbrp10le',
    rgbf32le: 'gbrpf32le',
    rgbaf32le: 'gbrapf32le',
    rgbf16le: 'gbrpf32le',
    rgbaf16le: 'gbrapf32le',
    xyz12le: 'gbrp16le',
    xyz12be: 'gbrp16le',
  };
  const known = fixed[name];
  if (known) return known;
  if (/^(rgb|bgr)(565|555|444|8|4|4_byte)(le|be)?$/.test(name)) return 'gbrp';
  if (/^bayer_.*8$/.test(name)) return 'gbrp';
  if (/^bayer_.*16(le|be)$/.test(name)) return 'gbrp16le';
  return null;
}
