// A cart that takes what the selector offers: one entry for each order line, by part number where the catalogue has one.

const list = document.querySelector(".cart ul");
const empty = document.querySelector(".cart .empty");

document.addEventListener("sheet-selector:choose", ({ detail }) => {
  list.replaceChildren(
    ...detail.order.map(({ quantity, role, part_number: part, detector_class: id }) => {
      const line = document.createElement("li");
      line.textContent = `${quantity} × ${role}, ${part ?? id}`;
      return line;
    }),
  );
  for (const address of detail.setup_sheets) {
    const sheet = document.createElement("a");
    sheet.href = address;
    sheet.textContent = document.documentElement.lang === "de" ? "Einrichteblatt" : "Set-up sheet";
    const line = document.createElement("li");
    line.append(sheet);
    list.append(line);
  }
  empty.hidden = true;
});
