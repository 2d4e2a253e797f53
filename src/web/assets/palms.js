// Shows the middle of a wide picture first, where the person is. Without this module it starts at its left edge.

for (const pan of document.querySelectorAll(".pan")) {
  const middle = () => {
    pan.scrollLeft = (pan.scrollWidth - pan.clientWidth) / 2;
  };
  const picture = pan.querySelector("img");
  if (picture.complete) middle();
  else picture.addEventListener("load", middle, { once: true });
}
