/** Text for xmlbuilder2, which leaves alone what looks like an entity already: "&amp;" in a name would be read back as "&". */
export const xmlText = (text: string): string => text.replaceAll('&', '&amp;');
