// On a narrow screen the row of stations scrolls: bring the present one into view.
const row = document.querySelector(".tabs");
const now = row?.querySelector("[aria-current]");
if (now) row.scrollLeft = now.offsetLeft - (row.clientWidth - now.offsetWidth) / 2;
