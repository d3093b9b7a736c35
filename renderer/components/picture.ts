/** A drawing of a page as a file that stands by itself: what its style sheets say is written into it, so it looks the same in any program. */

const styled = ['fill', 'fill-opacity', 'stroke', 'stroke-width', 'stroke-dasharray', 'stroke-linejoin', 'stroke-opacity', 'paint-order', 'font-family', 'font-size', 'font-weight', 'text-anchor', 'opacity', 'dominant-baseline'];

/** The text of an SVG file, on the ground of the page. */
export function svgTextOf(svg: SVGSVGElement): string {
  const copy = svg.cloneNode(true) as SVGSVGElement;
  const [from, to] = [[svg, ...svg.querySelectorAll('*')], [copy, ...copy.querySelectorAll('*')]];
  from.forEach((element, i) => {
    const target = to[i];
    if (target === undefined || target instanceof SVGTitleElement) return;
    const computed = getComputedStyle(element);
    for (const name of styled) {
      const value = computed.getPropertyValue(name);
      if (value !== '' && value !== 'normal') target.setAttribute(name, value);
    }
    target.removeAttribute('class');
    target.removeAttribute('style');
  });
  const { width, height } = sizeOf(svg);
  copy.setAttribute('xmlns', 'http://www.w3.org/2000/svg');
  copy.setAttribute('width', String(width));
  copy.setAttribute('height', String(height));
  const ground = document.createElementNS('http://www.w3.org/2000/svg', 'rect');
  ground.setAttribute('width', '100%');
  ground.setAttribute('height', '100%');
  ground.setAttribute('fill', getComputedStyle(svg.closest('.section') ?? document.body).backgroundColor);
  copy.prepend(ground);
  return `<?xml version="1.0" encoding="UTF-8"?>\n${new XMLSerializer().serializeToString(copy)}\n`;
}

const sizeOf = (svg: SVGSVGElement): { readonly width: number; readonly height: number } => {
  const { width, height } = svg.getBoundingClientRect();
  return { width: Math.max(1, Math.round(width)), height: Math.max(1, Math.round(height)) };
};

/** Twice as many dots as on the page, so that it can be printed. */
export async function pngOf(svg: SVGSVGElement): Promise<Uint8Array<ArrayBuffer>> {
  const { width, height } = sizeOf(svg);
  const image = new Image();
  image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(svgTextOf(svg))}`;
  await image.decode();
  const canvas = document.createElement('canvas');
  [canvas.width, canvas.height] = [2 * width, 2 * height];
  canvas.getContext('2d')?.drawImage(image, 0, 0, canvas.width, canvas.height);
  const blob = await new Promise<Blob | null>((resolve) => {
    canvas.toBlob(resolve, 'image/png');
  });
  if (blob === null) throw new Error('the browser made no picture');
  return new Uint8Array(await blob.arrayBuffer());
}
