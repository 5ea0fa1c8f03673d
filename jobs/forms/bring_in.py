"""Which list, and its file."""

from __future__ import annotations

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _

from inventory.forms.shop_form import ShopForm
from inventory.sheets.raw import SheetNotRead
from inventory.sheets.reading import refuse_too_large


class BringInForm(ShopForm):
    """The kind of list and the file that holds it."""

    kind = forms.ChoiceField(
        label=_("What does the list hold?"),
        choices=(
            ("sets", _("Tool sets")),
            ("sites", _("Sites and floors")),
            ("jobs", _("Jobs")),
            ("work", _("Work done")),
        ),
        widget=forms.RadioSelect,
        initial="sets",
    )
    file = forms.FileField(
        label=_("The file, CSV or XLSX"),
        help_text=_(
            "As you keep it: any columns, mixed units, fractions, old codes. Up to 50,000 rows. You see and change "
            "what it is taken for before anything is kept."
        ),
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,.xlsx,text/csv,text/tab-separated-values"}),
    )

    def clean_file(self) -> UploadedFile:
        """A file too large to be read is refused before it is taken into memory."""
        file: UploadedFile = self.cleaned_data["file"]
        try:
            refuse_too_large(file.name or "", file.size or 0)
        except SheetNotRead as refused:
            raise forms.ValidationError(refused.sentence) from refused
        return file
