import type { RefObject } from 'react';
import { Button } from './button.tsx';
import { pngOf, svgTextOf } from './picture.ts';
import { saveFile } from './save-file.ts';

interface PictureButtonsProps {
  /** The drawing is the first SVG in it. */
  readonly of: RefObject<HTMLElement | null>;
  /** What is drawn: the name of the file. */
  readonly name: string;
}

const fileName = (name: string): string => name.normalize('NFC').replaceAll(/[^\p{L}\p{N}.-]+/gu, '-').replaceAll(/^-|-$/gu, '').slice(0, 120) || 'chart';

/** The drawing as it stands on the page, as SVG and as PNG. WIN-47 */
export function PictureButtons({ of, name }: PictureButtonsProps) {
  const drawing = (): SVGSVGElement | null => of.current?.querySelector<SVGSVGElement>('svg') ?? null;
  return (
    <>
      <Button
        kind="quiet"
        label={`Save as SVG: ${name}`}
        onPress={() => {
          const svg = drawing();
          if (svg !== null) saveFile(`${fileName(name)}.svg`, [svgTextOf(svg)]);
        }}
      >
        SVG
      </Button>
      <Button
        kind="quiet"
        label={`Save as PNG: ${name}`}
        onPress={() => {
          const svg = drawing();
          if (svg !== null) void pngOf(svg).then((bytes) => saveFile(`${fileName(name)}.png`, [bytes]));
        }}
      >
        PNG
      </Button>
    </>
  );
}
