/** The title of the tab and of the window: what needs a person stands first, whatever the page. */
let page = 'Railhouse';
let mark = '';

const show = (): void => {
  document.title = `${mark === '' ? '' : `▲ ${mark} – `}${page}`;
};

export function titleOfPage(title: string): void {
  page = `${title} – Railhouse`;
  show();
}

/** Empty: nobody is needed. */
export function markTitle(text: string): void {
  mark = text;
  show();
}
