"""How fast a report feels in the browser: first paint, and frames while it is moved along."""

FRAMES = """async () => {
    document.getElementById("panels").scrollIntoView();
    const took = [];
    for (const zooms of [1, 4, 8]) {
        traces.everything();
        for (let i = 0; i < zooms; i++) traces.zoom(0.5);
        let last = 0;
        for (let i = 0; i < 30; i++) {
            traces.along(i < 15 ? 0.02 : -0.02);
            await new Promise(requestAnimationFrame);
            await new Promise((done) => setTimeout(done, 0));
            if (last) took.push(performance.now() - last);
            last = performance.now();
        }
    }
    return took.sort((a, b) => a - b);
}"""


def first_paint_ms(page) -> float:
    """Until something stands on an opened page."""
    return page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")


def frames_ms(page) -> list[float]:
    """Milliseconds of each frame, rising, while the traces are moved along at three zooms."""
    return page.evaluate(FRAMES)
