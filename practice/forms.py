"""Forms of the practice pages: they clean what people type, nothing else."""

from django import forms
from django.contrib.auth.forms import AuthenticationForm

from practice.models import Clinic, Policy, Role, Room

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


class SignInForm(AuthenticationForm):
    """Sign-in name and password."""

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Sign-in name"

    error_messages = {
        "invalid_login": "Name and password do not fit together. Capitals matter in the password.",
        "inactive": "This sign-in is closed. Ask an administrator of the practice.",
    }


def clean_currency(code: str) -> str:
    """Three letters of ISO 4217, in capitals."""
    code = code.upper()
    if len(code) != 3 or not code.isalpha() or not code.isascii():
        raise forms.ValidationError("Write the three letters of the currency, such as GBP or EUR.")
    return code


class ClinicStartForm(forms.Form):
    """What a new clinic has to know from the start."""

    clinic_name = forms.CharField(
        label="Clinic", max_length=80, help_text="The street or the quarter, as your people call the place."
    )
    rooms = forms.CharField(
        label="Rooms", max_length=200, help_text="As on the doors and in the calendar, with commas: A1, A2"
    )
    tooth_notation = forms.ChoiceField(
        label="Teeth are numbered in",
        choices=Clinic.Notation.choices,
        help_text="FDI counts 11 to 48, Universal 1 to 32. A file that counts otherwise is still understood.",
    )
    currency = forms.CharField(label="Currency", max_length=3, initial="GBP", help_text="Three letters")
    time_zone = forms.CharField(
        label="Time zone", max_length=40, initial="Europe/London", help_text="Like Europe/London"
    )

    def clean_currency(self):
        """Three letters of ISO 4217."""
        return clean_currency(self.cleaned_data["currency"])

    def clean_rooms(self):
        """Codes of rooms, one by one."""
        codes = [code.strip() for code in self.cleaned_data["rooms"].replace(";", ",").split(",")]
        codes = [code for code in codes if code]
        longest = Room._meta.get_field("code").max_length
        if not codes or any(len(code) > longest for code in codes):
            raise forms.ValidationError(f"Name each room in {longest} characters at most: A1, A2.")
        return codes


class StartForm(ClinicStartForm):
    """A practice that starts: its name, first clinic, and who administers it."""

    name = forms.CharField(label="Name of the practice", max_length=120)
    display_name = forms.CharField(
        label="Your name as shown", max_length=80, help_text="On lists and records"
    )
    username = forms.SlugField(label="Your sign-in name", max_length=60, help_text="Letters, digits, - and _")
    password = forms.CharField(
        label="Your password",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least ten characters, not a common word.",
    )
    password_again = forms.CharField(
        label="Your password again",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="So that no slip of a finger locks you out.",
    )

    def clean(self):
        """Both passwords alike; only one goes on."""
        cleaned = super().clean()
        again = cleaned.pop("password_again", None)
        if again is not None and cleaned.get("password") not in (None, again):
            self.add_error("password", "The two passwords differ. Type both again.")
        return cleaned


class AddPersonForm(forms.Form):
    """A new person with a first password."""

    username = forms.SlugField(label="Sign-in name", max_length=60, help_text="Letters, digits, - and _")
    display_name = forms.CharField(label="Name as shown", max_length=80)
    kind = forms.ChoiceField(label="Role at this clinic", choices=Role.Kind.choices)
    password = forms.CharField(
        label="First password",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least ten characters, not a common word. The person changes it after signing in.",
    )


class RoleForm(forms.Form):
    """The role of a person at the present clinic; empty takes it away."""

    kind = forms.ChoiceField(
        label="Role at this clinic", choices=[("", "No role here"), *Role.Kind.choices], required=False
    )


class NewPasswordForm(forms.Form):
    """A password set for somebody else."""

    password = forms.CharField(
        label="New first password", widget=forms.PasswordInput(attrs={"autocomplete": "new-password"})
    )


class ClinicForm(forms.ModelForm):
    """What a clinic is called and how it counts."""

    open_on = forms.MultipleChoiceField(
        label="Open on",
        choices=[(str(number), name) for number, name in enumerate(WEEKDAYS)],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )

    class Meta:
        model = Clinic
        fields = ("name", "time_zone", "currency", "tooth_notation")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.initial["open_on"] = [
            str(n) for n, flag in enumerate(self.instance.open_weekdays) if flag == "1"
        ]

    def clean_currency(self):
        """Three letters of ISO 4217."""
        return clean_currency(self.cleaned_data["currency"])

    def clean(self):
        """Weekdays as seven flags, Monday first."""
        cleaned = super().clean()
        chosen = set(cleaned.get("open_on") or [])
        cleaned["open_weekdays"] = "".join("1" if str(n) in chosen else "0" for n in range(7))
        return cleaned


class RoomForm(forms.Form):
    """A room with a chair."""

    code = forms.CharField(label="Room", max_length=12, help_text="As on the door and in the calendar: A1")
    kind = forms.ChoiceField(label="Used for", choices=Room.Kind.choices)


class ClosureForm(forms.Form):
    """Days on which the clinic does not operate."""

    starts_on = forms.DateField(label="First day closed", widget=forms.DateInput(attrs={"type": "date"}))
    ends_on = forms.DateField(label="Last day closed", widget=forms.DateInput(attrs={"type": "date"}))
    reason = forms.CharField(label="Why", max_length=80, required=False)


class PolicyForm(forms.ModelForm):
    """What the clinic has decided for itself."""

    class Meta:
        model = Policy
        fields = (
            *("target_cannot_start", "target_substitute", "target_convenience", "review_days"),
            *("safety_days", "waste_limit", "approval_limit", "retention_years", "plan_days"),
        )
        labels = {
            "target_cannot_start": "Never short of what a case cannot start without",
            "target_substitute": "Never short of what has a substitute",
            "target_convenience": "Never short of what is nice to have",
            "review_days": "Days between reviews of the reorder list",
            "safety_days": "Days before expiry at which use stops",
            "waste_limit": "Share of opened units that may go to waste",
            "approval_limit": "Orders above this need a second manager",
            "retention_years": "Years that records are kept",
            "plan_days": "Days to plan ahead",
        }
        help_texts = {
            "target_cannot_start": "A chance: 0.995 accepts being short 5 times in 1,000.",
            "retention_years": "Local law decides; 10 to 30 years are common. It can only be made longer.",
        }


class UploadForm(forms.Form):
    """A file and what is declared about it; the questions come from the kind of file."""

    file = forms.FileField(label="File")

    def __init__(self, *args, kind, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["file"].widget.attrs["accept"] = kind.accepts
        for question in kind.questions:
            self.fields[question.name] = forms.ChoiceField(
                label=question.label,
                choices=question.choices(),
                required=question.is_required,
                help_text=question.help,
            )

    def clean(self):
        """Answers to the questions together, empty ones left out."""
        cleaned = super().clean()
        cleaned["declared"] = {name: value for name, value in cleaned.items() if name != "file" and value}
        return cleaned


class AuditFilterForm(forms.Form):
    """What to look for in the audit."""

    q = forms.CharField(required=False)
    action = forms.ChoiceField(required=False)

    def __init__(self, *args, actions=(), **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["action"].choices = [("", "All actions"), *((name, name) for name in actions)]
