/** What a technician takes along. A check names one of these, or none where eyes, ears and hands will do. */
export const TOOLS = {
  chocks: 'wheel chocks',
  gauge: 'tire gauge',
  twoGauges: 'two tire gauges',
  soap: 'soapy water',
  core: 'valve core tool',
  chuck: 'clip-on air chuck, long hose',
  tread: 'tread depth gauge, tape measure',
  heat: 'infrared thermometer',
  extinguisher: 'fire extinguisher',
  jack: 'jack and stands',
  ruler: 'ruler and chalk',
  lining: 'lining gauge, lamp',
  lamp: 'lamp',
  pry: 'pry bar, ruler',
  testGauges: 'two test gauges',
  dash: 'dash gauges',
  watch: 'dash gauges, watch',
  sensor: 'tire sensor tool',
  reader: 'fault code reader',
  meter: 'multimeter',
  drawing: 'wiring diagram',
  truckFile: 'truck file',
  computer: 'computer with axlepost',
} as const;

export type Tool = (typeof TOOLS)[keyof typeof TOOLS];
