"""From one day's log to acres, time lost by cause, utilisation, momentary bottleneck and energy balance."""
