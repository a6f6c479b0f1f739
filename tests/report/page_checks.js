// What a page is asked, inside the page. Each check gives a list of faults, each a line for a person; none is good.

/** How a person finds the element: tag, id, class and its first words. */
function called(element) {
  const id = element.id ? "#" + element.id : "";
  const kind = element.classList.length ? "." + [...element.classList].join(".") : "";
  const words = element.textContent.trim().replace(/\s+/g, " ").slice(0, 40);
  return `<${element.localName}${id}${kind}>` + (words ? ` '${words}'` : "");
}

function all(selector) {
  return [...document.querySelectorAll(selector)];
}

/** An element that is there for screen readers alone, shrunk to a pixel. */
function unseen(element) {
  const box = element.getBoundingClientRect();
  return box.width <= 1.5 && box.height <= 1.5 && getComputedStyle(element).position === "absolute";
}

/** Every piece of text that is drawn: its element, its boxes in the window, the elements around it from inside out. */
function* drawnText() {
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const element = node.parentElement;
    if (!node.data.trim() || element.closest("script, style, title, desc, noscript, template, defs")) continue;
    if (getComputedStyle(element).visibility !== "visible") continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const boxes = [...range.getClientRects()].filter((box) => box.width > 0 && box.height > 0);
    if (!boxes.length) continue;
    const around = [];
    for (let one = element; one; one = one.parentElement) around.push(one);
    if (around.some(unseen)) continue;
    yield { node, element, boxes, around };
  }
}

const pixel = new OffscreenCanvas(1, 1).getContext("2d", { willReadFrequently: true });
const colours = new Map();

/** Red, green, blue from 0 to 255 and opacity from 0 to 1 of any colour that CSS can write. */
function rgba(colour) {
  if (!colours.has(colour)) {
    pixel.clearRect(0, 0, 1, 1);
    pixel.fillStyle = colour;
    pixel.fillRect(0, 0, 1, 1);
    const [r, g, b, a] = pixel.getImageData(0, 0, 1, 1).data;
    colours.set(colour, [r, g, b, a / 255]);
  }
  return [...colours.get(colour)];
}

/** Relative luminance of WCAG 2.2. */
function luminance(colour) {
  const [r, g, b] = colour.map((value) => {
    const share = value / 255;
    return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

/** Contrast ratio of WCAG 2.2, from 1 to 21. */
function contrast(one, other) {
  const [low, high] = [luminance(one), luminance(other)].sort((x, y) => x - y);
  return (high + 0.05) / (low + 0.05);
}

function over(top, bottom) {
  return [0, 1, 2].map((i) => top[i] * top[3] + bottom[i] * (1 - top[3]));
}

/** What an element paints under a point: a colour with opacity, null for nothing, "picture" for what cannot be told. */
function paintAt(element, x, y) {
  const style = getComputedStyle(element);
  if (element instanceof SVGGeometryElement) {
    if (style.fill === "none") return null;
    const here = new DOMPoint(x, y).matrixTransform(element.getScreenCTM().inverse());
    if (!element.isPointInFill(here)) return null;
    if (style.fill.startsWith("url")) return "picture";
    const paint = rgba(style.fill);
    paint[3] *= style.fillOpacity;
    return paint;
  }
  if (element instanceof SVGElement && element.localName !== "svg") return null;
  if (style.backgroundImage !== "none") return "picture";
  return rgba(style.backgroundColor);
}

function opacity(element) {
  let product = 1;
  for (let one = element; one; one = one.parentElement) product *= getComputedStyle(one).opacity;
  return product;
}

function parentFirst(element) {
  const found = [];
  for (let one = element; one; one = one.parentElement) found.push(one);
  return found;
}

const filled = new Map();

/** The filled shapes of a drawing with their boxes on the page, in the order in which they are painted. */
function shapesOf(drawing) {
  if (!filled.has(drawing)) {
    const shapes = [...drawing.querySelectorAll("path, rect, circle, ellipse, polygon, polyline, line")];
    const seen = shapes.filter((one) => !one.closest("defs, clipPath, mask, marker, pattern") && getComputedStyle(one).fill !== "none");
    filled.set(drawing, seen.map((shape) => [shape, shape.getBoundingClientRect(), scrollY]));
  }
  return filled.get(drawing);
}

/** What lies under a text at a point of the window, from the top down. */
function under(element, x, y) {
  const drawing = element.closest("svg");
  if (!drawing) {
    const stack = document.elementsFromPoint(x, y);
    const own = stack.indexOf(element);
    return own < 0 ? parentFirst(element) : stack.slice(own);
  }
  // A drawing has thousands of lines: to look through its filled shapes is a hundred times as quick as to ask the window.
  const shapes = shapesOf(drawing).filter(([shape, box, scrolled]) => {
    const top = box.top + scrolled - scrollY;
    const inside = box.left <= x && x <= box.right && top <= y && y <= top + box.height;
    return inside && shape.compareDocumentPosition(element) & Node.DOCUMENT_POSITION_FOLLOWING;
  });
  return [...shapes.map(([shape]) => shape).reverse(), ...parentFirst(drawing)];
}

/** Colour behind a text at a point, or null where a picture lies there. The page itself is white. */
function groundAt(element, x, y) {
  const paints = [];
  for (const one of under(element, x, y)) {
    const paint = paintAt(one, x, y);
    if (paint === null) continue;
    if (paint === "picture") return null;
    paint[3] *= opacity(one);
    paints.push(paint);
    if (paint[3] >= 1) break;
  }
  return paints.reverse().reduce((ground, paint) => over(paint, ground), [255, 255, 255]);
}

const checks = {
  language() {
    const faults = [];
    if (!/^[a-z]{2,3}(-|$)/.test(document.documentElement.lang)) faults.push("html has no lang");
    if (!document.title.trim()) faults.push("no title");
    if (document.characterSet !== "UTF-8") faults.push(`characters are ${document.characterSet}`);
    if (document.compatMode !== "CSS1Compat") faults.push("no doctype");
    if (!document.querySelector("meta[name=viewport]")) faults.push("no viewport for small windows");
    return faults;
  },

  headings() {
    const found = all("h1, h2, h3, h4, h5, h6");
    const faults = [];
    const ones = found.filter((heading) => heading.localName === "h1").length;
    if (ones !== 1) faults.push(`${ones} h1 where one belongs`);
    let before = 0;
    for (const heading of found) {
      const level = Number(heading.localName[1]);
      if (level > before + 1) faults.push(`${called(heading)} comes after ${before ? "h" + before : "nothing"}`);
      if (!heading.textContent.trim()) faults.push(`${called(heading)} is empty`);
      before = level;
    }
    return faults;
  },

  contract() {
    const faults = [];
    const standing = document.querySelector("header p");
    if (!standing || !standing.classList.contains("standing") || !standing.textContent.trim())
      faults.push("the header's first paragraph is no p.standing with words");
    const sections = all("section");
    if (!sections.length) faults.push("no section");
    for (const section of sections) {
      if (!section.querySelector("h2")) faults.push(`${called(section)} has no heading`);
      else if (!all("nav#contents a").some((a) => section.id && a.getAttribute("href") === "#" + section.id))
        faults.push(`${called(section)} is not in the contents`);
    }
    return faults;
  },

  ids() {
    const seen = new Set();
    const faults = [];
    for (const element of all("[id]")) {
      if (!element.id) faults.push(`${called(element)} has an empty id`);
      else if (seen.has(element.id)) faults.push(`${called(element)} has an id that stands elsewhere too`);
      seen.add(element.id);
    }
    const lead = (element, id) => {
      if (!seen.has(id)) faults.push(`${called(element)} leads to '#${id}', which is nowhere`);
    };
    for (const element of all("*")) {
      for (const { name, value } of element.attributes) {
        if (["aria-labelledby", "aria-describedby", "headers", "for"].includes(name))
          value.split(/\s+/).forEach((id) => lead(element, id));
        else if (/^(xlink:)?href$/.test(name) && value.startsWith("#")) lead(element, decodeURIComponent(value.slice(1)));
        else for (const [, id] of value.matchAll(/url\(\s*["']?#([^"')]+)["']?\s*\)/g)) lead(element, id);
      }
    }
    return faults;
  },

  selfContained() {
    const faults = [];
    const outside = (address) => !/^\s*(#|data:|$)/i.test(address);
    for (const element of all("*"))
      for (const { name, value } of element.attributes) {
        const link = element.localName === "a" && /^(xlink:)?href$/.test(name);
        if (/^(src|srcset|data|poster|action|formaction|background|ping|manifest|(xlink:)?href)$/.test(name) && outside(value))
          faults.push(`${called(element)} has ${name} '${value.slice(0, 60)}'` + (link ? ", a link to elsewhere" : ""));
        if (/^on/i.test(name)) faults.push(`${called(element)} has the event handler ${name}`);
      }
    for (const element of all("script, iframe, object, embed, link, base, form, frame, portal, foreignObject, meta[http-equiv=refresh i]"))
      faults.push(`${called(element)} has no place here`);
    const styles = [...all("style").map((one) => one.textContent), ...all("[style]").map((one) => one.getAttribute("style"))];
    for (const text of styles) {
      for (const [, address] of text.matchAll(/url\(\s*["']?([^"')]*)/gi))
        if (outside(address)) faults.push(`a style asks for '${address.slice(0, 60)}'`);
      if (/@import/i.test(text)) faults.push("a style imports another");
    }
    return faults;
  },

  figures() {
    const faults = all("figure").length ? [] : ["no figure"];
    for (const figure of all("figure")) {
      if (!/^fig-./.test(figure.id)) faults.push(`${called(figure)} has no id fig-NAME`);
      const drawing = figure.querySelector(":scope > svg");
      if (!drawing) {
        faults.push(`${called(figure)} has no svg`);
        continue;
      }
      const box = drawing.getBoundingClientRect();
      if (box.width < 50 || box.height < 50)
        faults.push(`the svg of ${called(figure)} is ${Math.round(box.width)} by ${Math.round(box.height)} pixels`);
      const drawn = drawing.getBBox();
      if (!(drawn.width > 0 && drawn.height > 0)) faults.push(`the svg of ${called(figure)} holds nothing`);
      const caption = figure.querySelector("figcaption");
      if (!caption || !/\S\s+\S.*[.!?]/s.test(caption.textContent))
        faults.push(`${called(figure)} has no sentence that reads it`);
    }
    return faults;
  },

  tables() {
    const faults = [];
    for (const table of all("table")) {
      if (!table.querySelector("th")) faults.push(`${called(table)} has no header cell`);
      for (const cell of table.querySelectorAll("th"))
        if (!["col", "row", "colgroup", "rowgroup"].includes(cell.getAttribute("scope")))
          faults.push(`${called(cell)} has no scope`);
      const widths = new Set([...table.rows].map((row) => [...row.cells].reduce((sum, cell) => sum + cell.colSpan, 0)));
      if (widths.size > 1) faults.push(`${called(table)} has rows of ${[...widths].join(" and ")} columns`);
      if (![...table.rows].some((row) => row.querySelector("td"))) faults.push(`${called(table)} has no row of data`);
    }
    return faults;
  },

  async contents() {
    const links = all('nav a[href^="#"]');
    const faults = links.length ? [] : ["no link in a nav"];
    const wait = (ms) => new Promise((done) => setTimeout(done, ms));
    for (const link of links) {
      const id = decodeURIComponent(link.getAttribute("href").slice(1));
      const target = document.getElementById(id);
      if (!target) {
        faults.push(`${called(link)} leads to '#${id}', which is nowhere`);
        continue;
      }
      history.replaceState(null, "", location.pathname);
      const middle = (link.getClientRects()[0]?.y ?? 0) - innerHeight / 2;
      scrollBy({ top: middle, behavior: "instant" });
      const [box] = link.getClientRects();
      const hit = box && document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
      if (!hit || !(link.contains(hit) || hit.contains(link))) {
        faults.push(`${called(link)} cannot be clicked` + (hit ? `: ${called(hit)} covers it` : ""));
        continue;
      }
      link.click();
      const there = () => {
        const place = target.getBoundingClientRect();
        return location.hash.length > 1 && target.getClientRects().length && place.top > -2 && place.top < innerHeight;
      };
      for (let tries = 0; tries < 20 && !there(); tries++) await wait(25);
      if (!there()) faults.push(`${called(link)} does not bring '#${id}' into the window`);
    }
    return faults;
  },

  sideways() {
    const root = document.documentElement;
    if (root.scrollWidth <= root.clientWidth) return [];
    let widest = root;
    let right = -Infinity;
    for (const element of document.body.querySelectorAll("*")) {
      const box = element.getBoundingClientRect();
      if (box.width > 0 && box.right > right + 0.01) [widest, right] = [element, box.right];
    }
    return [`${root.scrollWidth} pixels of page in ${root.clientWidth} of window; ${called(widest)} reaches to ${Math.round(right)}`];
  },

  /** Text that a box around it or the left edge of the page cuts off. On paper nothing scrolls. */
  clipped(onPaper) {
    const faults = new Set();
    const cuts = onPaper ? ["hidden", "clip", "auto", "scroll"] : ["hidden", "clip"];
    for (const { element, boxes, around } of drawnText()) {
      const left = Math.min(...boxes.map((box) => box.left)) + scrollX;
      const right = Math.max(...boxes.map((box) => box.right)) + scrollX;
      const top = Math.min(...boxes.map((box) => box.top));
      const bottom = Math.max(...boxes.map((box) => box.bottom));
      if (left < -1) faults.add(`${called(element)} begins left of the page`);
      if (onPaper && right > document.documentElement.clientWidth + 1) faults.add(`${called(element)} ends right of the paper`);
      for (const one of around) {
        const style = getComputedStyle(one);
        const box = one.getBoundingClientRect();
        // A line's box is taller than its letters: a quarter of its height may go without a letter being touched.
        const slack = (boxes[0].bottom - boxes[0].top) / 4;
        const wide = cuts.includes(style.overflowX) && (left - scrollX < box.left - 1 || right - scrollX > box.right + 1);
        const high = cuts.includes(style.overflowY) && (top < box.top - slack || bottom > box.bottom + slack);
        if (wide || high) faults.add(`${called(element)} is cut off by ${called(one)}`);
      }
    }
    return [...faults];
  },

  /** Words and numbers of up to 14 characters that go on in the next line without a sign that they do. */
  broken() {
    const faults = new Set();
    const one = /(?<![\p{L}\p{N}])[\p{L}\p{N}]([\p{L}\p{N}.,]{0,12}[\p{L}\p{N}])?(?![\p{L}\p{N}])/gu;
    for (const { node, element, boxes } of drawnText()) {
      if (boxes.length < 2) continue;
      for (const { 0: word, index } of node.data.matchAll(one)) {
        const range = document.createRange();
        range.setStart(node, index);
        range.setEnd(node, index + word.length);
        const lines = new Set([...range.getClientRects()].map((box) => Math.round(box.bottom)));
        if (lines.size > 1) faults.add(`'${word}' in ${called(element)}`);
      }
    }
    return [...faults];
  },

  faint(least) {
    const faults = new Set();
    let judged = 0;
    for (const { element, boxes } of drawnText()) {
      const x = boxes[0].x + boxes[0].width / 2;
      let y = boxes[0].y + boxes[0].height / 2;
      if ((y < 0 || y >= innerHeight) && !element.closest("svg")) {
        // The window tells what is behind a text only inside of it.
        const before = scrollY;
        scrollBy({ top: y - innerHeight / 2, behavior: "instant" });
        y -= scrollY - before;
      }
      const style = getComputedStyle(element);
      const ink = rgba(element instanceof SVGElement ? style.fill : style.color);
      ink[3] *= opacity(element) * (element instanceof SVGElement ? style.fillOpacity : 1);
      const ground = groundAt(element, x, y);
      judged++;
      if (!ground) {
        faults.add(`${called(element)} stands on a picture, so its contrast cannot be told`);
        continue;
      }
      const ratio = contrast(over(ink, ground), ground);
      if (ratio < least) faults.add(`${called(element)} has a contrast of ${ratio.toFixed(2)}`);
    }
    return judged ? [...faults] : ["no text"];
  },

  words() {
    const found = new Set();
    for (const { node } of drawnText()) for (const [word] of node.data.matchAll(/[A-Za-z0-9]{3,}/g)) found.add(word);
    return [...found];
  },
};
