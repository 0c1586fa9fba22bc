/** Units on the bus: NAME (SAE J1939-81) and what a source address is used for. */

export interface Name {
  readonly identity: number;
  readonly manufacturer: number;
  readonly ecuInstance: number;
  readonly functionInstance: number;
  readonly function: number;
  readonly vehicleSystem: number;
  readonly vehicleSystemInstance: number;
  readonly industryGroup: number;
  readonly arbitraryAddress: boolean;
  /** 16 hexadecimal digits, most significant first: sorts as the number does. */
  readonly hex: string;
}

/** null if the data are shorter than 8 bytes. */
export function decodeName(data: ArrayLike<number>, length: number = data.length): Name | null {
  if (length < 8 || data.length < 8) return null;
  const half = (at: number) => (data[at]! | (data[at + 1]! << 8) | (data[at + 2]! << 16) | (data[at + 3]! << 24)) >>> 0;
  const low = half(0);
  const high = half(4);
  return {
    identity: low & 0x1fffff,
    manufacturer: low >>> 21,
    ecuInstance: high & 7,
    functionInstance: (high >>> 3) & 0x1f,
    function: (high >>> 8) & 0xff,
    vehicleSystem: (high >>> 17) & 0x7f,
    vehicleSystemInstance: (high >>> 24) & 0xf,
    industryGroup: (high >>> 28) & 7,
    arbitraryAddress: high >>> 31 === 1,
    hex: high.toString(16).padStart(8, '0') + low.toString(16).padStart(8, '0'),
  };
}

/**
 * Usual owners of source addresses on a road vehicle (industry group 1 from 128 on), from open transcriptions. A hint for
 * people, never a filter: units are seen on other addresses.
 */
const ADDRESSES: Readonly<Record<number, string>> = {
  0: 'engine',
  1: 'engine 2',
  3: 'transmission',
  8: 'steer axle',
  9: 'drive axle 1',
  10: 'drive axle 2',
  11: 'brake controller',
  12: 'steer axle brakes',
  13: 'drive axle 1 brakes',
  14: 'drive axle 2 brakes',
  15: 'engine retarder',
  16: 'driveline retarder',
  17: 'cruise control',
  19: 'steering controller',
  20: 'steer axle suspension',
  21: 'drive axle 1 suspension',
  22: 'drive axle 2 suspension',
  23: 'instrument cluster',
  24: 'trip recorder',
  32: 'tractor-trailer bridge',
  33: 'body controller',
  37: 'off-vehicle gateway',
  39: 'management computer',
  40: 'cab display',
  42: 'headway controller',
  47: 'suspension controller',
  48: 'pneumatic controller',
  49: 'cab controller',
  50: 'cab controller 2',
  51: 'tire pressure controller',
  62: 'stability controller',
  64: 'suspension controller 2',
  71: 'chassis controller',
  72: 'chassis controller 2',
  74: 'cellular unit',
  75: 'satellite unit',
  76: 'radio unit',
  80: 'parking brake controller',
  84: 'cab display 2',
  90: 'powertrain controller',
  160: 'emergency braking',
  161: 'fifth wheel',
  167: 'instrument cluster 2',
  229: 'body controller 2',
  235: 'tractor-trailer bridge 2',
  238: 'tachograph',
  248: 'file server or printer',
  249: 'service tool',
  250: 'service tool 2',
  251: 'data logger',
  252: 'experimental unit',
  253: 'maker-specific unit',
};

const TRAILER_FIRST_ADDRESS = 168;
const TRAILER_LAST_ADDRESS = 207;
/** The eight addresses of each trailer. */
const TRAILER_UNITS = ['bridge', 'lighting', 'brakes', 'refrigeration', 'cargo', 'chassis', 'unit', 'second unit'];

/** The number of the trailer an address belongs to (1 is the one behind the tractor), or null. */
export function trailerOf(sa: number): number | null {
  if (sa < TRAILER_FIRST_ADDRESS || sa > TRAILER_LAST_ADDRESS) return null;
  return 5 - ((sa - TRAILER_FIRST_ADDRESS) >>> 3);
}

/** What the address is usually used for, or null. */
export function addressName(sa: number): string | null {
  const trailer = trailerOf(sa);
  if (trailer !== null) return `trailer ${trailer} ${TRAILER_UNITS[(sa - TRAILER_FIRST_ADDRESS) & 7]}`;
  return ADDRESSES[sa] ?? null;
}
