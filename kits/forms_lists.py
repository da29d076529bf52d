"""Filters of the lists of cases and patients."""

from django import forms

from kits.models import Case


class CaseFilter(forms.Form):
    """Which cases to show."""

    state = forms.ChoiceField(
        label="State",
        required=False,
        choices=[("", "Any state"), ("open", "Still open"), *Case.State.choices],
    )
    since = forms.DateField(
        label="From", required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    until = forms.DateField(
        label="To", required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    clinician = forms.ModelChoiceField(
        label="Clinician", queryset=None, required=False, empty_label="Everybody"
    )
    procedure = forms.ModelChoiceField(
        label="Procedure", queryset=None, required=False, empty_label="Any procedure"
    )

    def __init__(self, *args, people, procedures, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["clinician"].queryset = people
        self.fields["procedure"].queryset = procedures


class PatientFilter(forms.Form):
    """Which patients to show."""

    declines = forms.ChoiceField(
        label="Declines",
        required=False,
        choices=[
            ("", "Any"),
            ("human", "human tissue"),
            ("porcine", "porcine material"),
            ("bovine", "bovine material"),
        ],
    )
