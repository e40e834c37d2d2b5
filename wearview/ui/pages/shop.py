"""The shop's own: its name on reports, its clean linings, the mat, how it judges, where all is kept."""

from functools import partial

import streamlit as st

from wearview import library
from wearview import store as record
from wearview.errors import CallError
from wearview.mat import design_for
from wearview.mat.sheet import HOW_TO_PRINT, mat_pdf
from wearview.photo import PhotoBytes, read_photo_bytes
from wearview.report import keep_logo, keep_shop, load_shop, shop_folder
from wearview.report.shop import MOST_LINES, PAPERS
from wearview.shop import shop_settings
from wearview.terms import CHART_EDITIONS
from wearview.ui import here, show
from wearview.ui.gate import the_gate
from wearview.ui.words import linings_html, plain

PAPER_WORDS = {"a4": "A4", "us-letter": "US letter"}
REPORTS, LININGS, MAT = "On your reports", "Clean linings", "Bench mat"
MATS = {"a4": "Mat for A4 paper", "letter": "Mat for US letter paper"}
WHAT_FOR = (
    "A sheet that lies under the plates and is in every photo. Its markers give the scale, its squares the "
    "light: grades become surer, and the same under another lamp."
)
WHY_MEASURE = (
    "What your printer made of the colours is not known until they are measured, once for each print: until "
    "then only the mat's paper serves, as a white. Lay a 24-patch chart or an 18 % grey card on the bare "
    "mat's middle and take one photo by daylight: under a lamp, inks and chart may look alike that are not."
)
EDITION_WORDS = {"after-2014": "since November 2014", "before-2014": "before November 2014"}


def page() -> None:
    """Show and change them, one section each."""
    st.title("Shop")
    for title, section in (
        (REPORTS, _on_reports),
        (LININGS, _linings),
        (MAT, _mat),
        ("How teardowns are judged", _judging),
        ("Where it is kept", _storage),
        ("Other devices", _devices),
    ):
        st.subheader(title)
        with st.container():  # there at every run: what opens below it would fold when the words go
            show.told(title)
        with show.in_words():
            section()


def _on_reports() -> None:
    """Name, address, paper and logo."""
    folder = shop_folder()
    shop = load_shop(folder)
    with st.form("on reports", border=False):
        name = st.text_input("Name of the shop", shop.name or "", key="shop name")
        lines = st.text_area(
            f"Address, telephone, opening hours: up to {MOST_LINES} lines",
            "\n".join(shop.lines),
            key="shop lines",
        )
        paper = st.selectbox(
            "Paper", PAPERS, PAPERS.index(shop.paper), format_func=PAPER_WORDS.__getitem__, key="paper"
        )
        logo = st.file_uploader("Logo, PNG or JPEG", type=["png", "jpg", "jpeg"], key=show.fresh("logo"))
        pressed = st.form_submit_button("Keep", width="stretch", key="keep shop")
    if shop.logo:
        st.image(shop.logo, alt="Logo on reports", width=220)
    if pressed:
        said = [line.strip() for line in lines.splitlines() if line.strip()]
        keep_shop(folder, name.strip() or None, said, str(paper))
        if logo is not None:
            keep_logo(folder, logo.getvalue())
        show.start_afresh()
        show.tell("Kept. The next report bears it.", place=REPORTS)
        st.rerun()


def _linings() -> None:
    """The shop's own clean linings: those in use, photos for a new or a better one, out of use and back."""
    kept = library.read_library()
    if kept:
        show.html(linings_html(list(kept.values()), shop_settings().rules.too_dark_below))
    else:
        st.info(
            "None so far. A photo of clean plates of one lining, white paper in view, makes it known: plates "
            "without a reference photo of their own are then compared with it."
        )
    with st.expander("Add clean plates"):
        name = st.text_input(
            "Name of the lining, in small letters, digits and hyphens; that of one you have makes it surer",
            placeholder="for example tan-paper",
            key=show.fresh("lining"),
        ).strip()
        wet = st.checkbox("The plates are wet", key=show.fresh("wet"))
        photos = show.ask_photos("Photos of clean plates of this lining only", show.fresh("clean plates"))
        if st.button("Measure and keep", width="stretch", key="keep lining"):
            library.check_name(name)
            if not photos:
                raise CallError(name, "has no photo of clean plates", "Give at least one")
            settings = shop_settings()
            with st.spinner("Measuring"):
                measured = [
                    library.measure_clean(PhotoBytes(photo.name, photo.getvalue()), settings)
                    for photo in photos
                ]
                lining, again = library.add(name, measured, wet)
            twice = f" Counted before: {', '.join(photo.file for photo in again)}." if again else ""
            show.let_go(photos)
            show.start_afresh()
            asked = [f"{doubt}." for doubt in library.doubts(measured)]
            show.tell(f"Kept: {lining.name}, version {lining.version}.{twice}", asked=asked, place=LININGS)
            st.rerun()
    if kept:
        with st.expander("Take one out of use"):
            gone = st.selectbox("Lining", list(kept), index=None, key=show.fresh("gone"))
            st.caption("Its versions stay, and so do grades that were made with it.")
            if st.button("Take it out of use", width="stretch", key="remove lining", disabled=gone is None):
                library.remove(str(gone))
                show.start_afresh()
                show.tell(f"{gone} is out of use.", place=LININGS)
                st.rerun()
    if removed := library.out_of_use():
        with st.expander(plain(f"Out of use: {', '.join(removed)}")):
            back = st.selectbox("Lining to use again", removed, index=None, key=show.fresh("back"))
            if st.button("Put it back into use", width="stretch", key="put back", disabled=back is None):
                used = library.put_back(str(back))
                show.start_afresh()
                show.tell(f"{used.name} is in use again, version {used.version}.", place=LININGS)
                st.rerun()


def _mat() -> None:
    """The mat to print, and its colours as printed."""
    st.markdown(f"{WHAT_FOR}\n\n{HOW_TO_PRINT}")
    with st.container(horizontal=True, gap="small"):
        for paper, label in MATS.items():
            st.download_button(
                label,
                partial(_mat_pdf, paper),
                file_name=f"wearview-mat-{paper}.pdf",
                mime="application/pdf",
                on_click="ignore",
                width="stretch",
                key=f"mat {paper}",
            )
    mat = shop_settings().mat
    state = "not measured so far" if mat is None else f"measured beside {library.BESIDE[mat.by]}"
    with st.expander(f"Its colours as printed: {state}"):
        st.markdown(WHY_MEASURE)
        photo = show.ask_photo("Photo of the bare mat with chart or card", show.fresh("bare mat"))
        edition = st.radio(
            "If there is a 24-patch chart, it was made",
            CHART_EDITIONS,
            format_func=EDITION_WORDS.__getitem__,
            horizontal=True,
            key="chart edition",
        )
        pressed = st.button("Measure and keep", width="stretch", key="calibrate mat", disabled=photo is None)
        if pressed and photo is not None:
            with st.spinner("Measuring"):
                _, told = library.calibrate(read_photo_bytes(photo.getvalue(), photo.name), str(edition))
            show.let_go([photo])
            show.start_afresh()
            show.tell(f"The mat's colours are kept: {'; '.join(told).rstrip('.')}.", place=MAT)
            st.rerun()


def _mat_pdf(paper: str) -> bytes:
    return mat_pdf(design_for(paper))


def _judging() -> None:
    """Blind or not, from now on."""
    store = here.open_record()
    before = record.shop_is_blind(store)
    blind = st.toggle(
        "New teardowns are judged blind: what the program finds is hidden until the verdict is in",
        before,
        key=f"shop blind {before}",
    )
    if blind != before:
        record.set_shop_blind(store, blind)
        st.rerun()


def _storage() -> None:
    """Where record and photos lie."""
    store = here.open_record()
    st.markdown(
        f"Record: {plain(str(store.file or store.label))}  \nPhotos: {plain(str(store.photos))}  \nShop: "
        f"{plain(str(shop_folder()))}"
    )
    st.caption(
        "`wearview backup FILE` writes all of it into one file. Another place: `wearview app --store URL`."
    )


def _devices() -> None:
    """A new passcode."""
    gate = the_gate()
    if gate.address is None:
        st.info(
            "This page is open to this computer only. `wearview app --lan` opens it to the shop's network."
        )
        return
    st.markdown(f"Other devices open {plain(gate.address)} and type the passcode.")
    if st.button("Make a new passcode: every other device has to type it", width="stretch", key="passcode"):
        code = gate.new_passcode()
        st.success(f"New passcode: {code}. It is shown this once.")


page()
