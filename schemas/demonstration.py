"""What every page of the demonstration pool says of itself."""

INVENTED = (
    "A demonstration with invented data: nobody in this pool exists, and no number here says "
    "anything about real patients."
)
