"""The forms of weather: a file with its station and unit, and the rule of sums."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from monitoring.laboratory_forms import DateInput
from monitoring.models import DegreeDayRule, WeatherStation, WeatherUpload
from monitoring.queries.weather import RuleInForce
from monitoring.weather.reading import FILE_BYTES

FIRST_STATION = "Farm's own"


class WeatherFileForm(forms.Form):
    """A file of daily weather, where it was measured, and in what unit."""

    file = forms.FileField(
        label="File of daily weather",
        help_text="CSV or XLSX, up to 5 MB: a row a day with date, minimum, maximum"
        " and, if known, quality. It is shown first; nothing counts before you publish"
        " it.",
        error_messages={
            "required": "Choose a file first.",
            "empty": "The file is empty. Choose the one with the rows.",
        },
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,.xlsx"}),
    )
    unit = forms.ChoiceField(
        label="The temperatures are in",
        choices=WeatherUpload.Unit.choices,
        widget=forms.RadioSelect,
        error_messages={
            "required": "Say whether the file has degrees Celsius or Fahrenheit."
        },
        help_text="Asked each time, since a guess would spoil every sum.",
    )
    station = forms.CharField(
        max_length=60,
        help_text="Where it was measured. Keep the name the same from file to file;"
        " another name is another station.",
    )

    def __init__(
        self, *args: Any, stations: list[WeatherStation], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        names = [one.name for one in stations]
        self.fields["station"].initial = names[0] if names else FIRST_STATION
        if names:
            known = ", ".join(f"“{name}”" for name in names)
            self.fields["station"].help_text = (
                f"Where it was measured. Known: {known}; another name is another"
                " station."
            )

    def clean_file(self) -> UploadedFile[bytes]:
        """Refuse a file that is too large before it is read."""
        file: UploadedFile[bytes] = self.cleaned_data["file"]
        if (file.size or 0) > FILE_BYTES:
            raise forms.ValidationError(
                "The file is larger than 5 MB; daily weather of fifty years has less."
                " Send a row a day."
            )
        return file


class DegreeDayRuleForm(forms.Form):
    """How a farm's degree-days are summed, from a start on."""

    starts_on = forms.DateField(
        label="Start (biofix)",
        widget=DateInput,
        help_text="Sums begin on this day. It comes again each year until you state"
        " another.",
    )
    method = forms.ChoiceField(
        choices=DegreeDayRule.Method.choices,
        help_text="How the day's course is drawn between its two temperatures.",
    )
    lower_deg_c = forms.FloatField(
        label="Lower threshold, °C",
        min_value=-10,
        max_value=40,
        help_text="-10 to 40. Development begins above it; 10.51 for grape rust mites"
        " (Walton et al. 2010, abstract).",
    )
    upper_deg_c = forms.FloatField(
        label="Upper threshold, °C",
        required=False,
        min_value=-5,
        max_value=60,
        help_text="-5 to 60, or empty for none; 39.19 for grape rust mites (the same"
        " source).",
    )
    cutoff = forms.ChoiceField(
        label="Above the upper threshold",
        choices=DegreeDayRule.Cutoff.choices,
        help_text="The average takes horizontal only.",
    )
    reason = forms.CharField(
        max_length=300, help_text="Why, and from where the thresholds are."
    )

    def __init__(
        self, *args: Any, rule: RuleInForce, today: date, **kwargs: Any
    ) -> None:
        initial = {
            name: getattr(rule, name)
            for name in ("starts_on", "method", "lower_deg_c", "upper_deg_c", "cutoff")
        }
        super().__init__(*args, **kwargs)
        self.initial = initial
        self.today = today

    def clean_starts_on(self) -> date:
        """Refuse a start that nobody has measured from yet."""
        starts_on: date = self.cleaned_data["starts_on"]
        if starts_on > self.today:
            raise forms.ValidationError(
                f"{starts_on:%Y-%m-%d} is still to come. State it once it is there."
            )
        return starts_on

    def clean(self) -> dict[str, Any]:
        """Keep the thresholds in order, and the average horizontal."""
        cleaned = super().clean() or {}
        lower, upper = cleaned.get("lower_deg_c"), cleaned.get("upper_deg_c")
        if lower is not None and upper is not None and upper <= lower:
            self.add_error(
                "upper_deg_c",
                f"{upper:g} °C is not above the lower threshold, {lower:g} °C.",
            )
        average = cleaned.get("method") == DegreeDayRule.Method.AVERAGE
        if average and cleaned.get("cutoff") not in {"horizontal", None}:
            self.add_error(
                "cutoff",
                "The average takes a horizontal cut-off only. Choose that, or another"
                " method.",
            )
        return cleaned
